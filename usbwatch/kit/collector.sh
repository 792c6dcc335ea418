#!/bin/sh
# The collector of usbwatch @VERSION@ for a unit that has no Python: gathers
# what a capture reads into one archive beside this file.
#
#     sh capture.sh           (as root more can be seen; sh capture.sh --help)
#
# Needs a POSIX shell and cat, cp, cut, date, dirname, find, grep, id, mkdir,
# mktemp, mv, rm, sed, sync, tar, tr, uname, wc. Where Python 3.8 or later is there, it starts capture.py instead. It
# only reads. It copies into a folder in memory, and writes its files to the
# stick when all is gathered. At the bench: usbwatch check --root ARCHIVE
# Made by "usbwatch kit"; make it anew rather than edit it. Apache License 2.0.

LC_ALL=C
export LC_ALL
unset CDPATH
umask 022
newline='
'
tab=$(printf '\t')

# --- Talking: words, beeps, a blinking screen -------------------------------

say() { [ -n "$quiet" ] || printf '%s\n' "$*" >&2; }

# signal BEEPS PAUSE: that many beeps, three times, the screen in reverse meanwhile.
signal() {
	[ -z "$quiet" ] && [ -t 2 ] || return 0
	reverse= normal=
	case ${TERM:-dumb} in dumb) ;; *) reverse=$(printf '\033[?5h') normal=$(printf '\033[?5l') ;; esac
	for group in 1 2 3; do
		beeps=$1
		while [ "$beeps" -gt 0 ]; do
			printf '\a%s' "$reverse" >&2
			sleep "$2" 2>/dev/null || sleep 1
			printf '%s' "$normal" >&2
			sleep "$2" 2>/dev/null || sleep 1
			beeps=$((beeps - 1))
		done
		sleep 1
	done
}

fail() {
	printf 'usbwatch: %s\n' "$*" >&2
	signal 6 0.1
	exit 3
}

usage() {
	cat <<'HELP'
Usage: sh capture.sh [--wait N] [--quiet] [--shell] [--root DIR] [-o FILE]

Gather what this unit enumerates into an archive beside this file. It reads,
and changes nothing. Where Python 3.8 is there, capture.py does it instead.

  --wait N    wait N seconds first (default: 10)
  --quiet     say nothing but errors; no beep, no blinking
  --shell     do not use Python even if it is there
  --root DIR  gather from a copied tree instead of this machine
  -o FILE     write the archive here, or into this folder

Example: sh capture.sh --wait 30
HELP
}

# --- Options ----------------------------------------------------------------

here=$(cd -P "$(dirname "$0")" && pwd -P) || exit 3
quiet= shell= root= output= seconds= unposted=
misuse() {
	printf 'capture.sh: %s; sh capture.sh --help tells how it is used\n' "$*" >&2
	exit 2
}
# whole WORD: $told is the seconds that a word means, without zeros that a shell would take for octal.
whole() {
	told=$1
	while :; do case $told in 0?*) told=${told#0} ;; *) break ;; esac; done
	case $told in '' | *[!0-9]* | ?????*) misuse "--wait needs a whole number of seconds from 0 to 3600" ;; esac
	[ "$told" -le 3600 ] || misuse "--wait needs a whole number of seconds from 0 to 3600"
}
# Python is asked first: it takes the same options.
for word; do [ "$word" = --shell ] && shell=yes; done
if [ -z "$shell" ] && [ -f "$here/capture.py" ] &&
	python3 -c 'import sys; sys.exit(sys.version_info < (3, 8))' 2>/dev/null; then
	exec python3 "$here/capture.py" "$@"
fi
while [ $# -gt 0 ]; do
	case $1 in
	--quiet) quiet=yes ;;
	--shell) ;;
	--wait | --root | -o | --output | --post | --code)
		[ $# -gt 1 ] || misuse "$1 needs a value"
		case $1 in
		--wait) whole "$2" && seconds=$told ;;
		--root) root=$2 ;;
		-o | --output) output=$2 ;;
		*) unposted=$1 ;;
		esac
		shift
		;;
	-h | --help)
		usage
		exit 0
		;;
	*) misuse "unknown option $1" ;;
	esac
	shift
done
[ ! -f "$here/post-to.txt" ] || unposted=${unposted:-post-to.txt}
[ -z "$unposted" ] || say "$unposted needs Python, which is not used here: nothing will be posted."

# --- Where from, where to ---------------------------------------------------

if [ -n "$root" ]; then
	base=$(cd -P "$root" 2>/dev/null && pwd -P) || fail "$root is no folder; give one that holds a copied sys."
	[ "$base" != / ] || base=
	[ -d "$base/sys/bus" ] || [ -d "$base/sys/class" ] || fail "$root holds no sys; give the folder that does."
else
	base=
	[ "$(uname -s)" = Linux ] || fail "this reads Linux's /sys; start a Linux live system on the unit."
	[ -d /sys/bus ] || [ -d /sys/class ] || fail "there is no /sys here; mount -t sysfs sysfs /sys, and run this again."
fi
folder=$here
# A folder is written into.
[ -z "$output" ] || [ ! -d "$output" ] || output=${output%/}/
case $output in */*) folder=${output%/*}/ ;; ?*) folder=./ ;; esac
# In full, for the work is done in other folders.
folder=$(cd -P "$folder" 2>/dev/null && pwd -P) || fail "${output%/*} is no folder that is there; give another with -o."
output=${output##*/}
if [ ! -w "$folder" ]; then
	# The system says why only when it is tried.
	if why=$(mktemp -d "$folder/.usbwatch-XXXXXX" 2>&1); then
		rm -rf "$why"
	else
		why=${why##*: }
		case $why in
		*[Rr]ead-only*) how="move its write-protect switch, or mount it for writing, and run this again" ;;
		*) how="run this as root, or give another place with -o" ;;
		esac
		fail "$folder may not be written to ($why); $how."
	fi
fi
[ -z "$output" ] || output=$folder/$output

copy=
for memory in /dev/shm /run /tmp "${TMPDIR:-/tmp}"; do
	[ -w "$memory" ] && copy=$(mktemp -d "$memory/usbwatch.XXXXXX" 2>/dev/null) && break
	copy=
done
[ -n "$copy" ] || fail "there is no folder in memory to gather in (/dev/shm, /run, /tmp); make one writable."
draft= logger= saved=
stopped() { printf 'usbwatch: interrupted; %s.\n' "${saved:-nothing was written}" >&2; }
tidy() {
	[ -z "$logger" ] || kill "$logger" 2>/dev/null
	[ -z "$draft" ] || rm -rf "$draft"
	cd / && rm -rf "$copy"
}
trap tidy EXIT
trap 'stopped; exit 130' INT
trap 'stopped; exit 129' HUP
trap 'stopped; exit 143' TERM

# --- Copying exactly --------------------------------------------------------

unread=0
mkdir -p "$copy/meta"
: >"$copy/meta/unread.txt"

# note PATH WHY: what could not be read. The manifest has one line for each.
note() {
	unread=$((unread + 1))
	case $1 in
	*"$newline"*) printf '%s: a name with a line break\n' "$2" >>"$copy/meta/unread-odd-names.txt" ;;
	*) printf '%s\t%s\n' "${1#/}" "$2" >>"$copy/meta/unread.txt" ;;
	esac
}

# again FROM TO PATH: read one file by itself, and note why when that fails.
# Every attribute says that it is one page long, so only what is read counts.
again() {
	if [ -n "$patience" ] && [ "$stuck" = "${3%/*}" ]; then
		why="Connection timed out"
	elif why=$($patience cat "$1" 2>&1 >"$2.part"); then
		rm -f "$2"
		mv "$2.part" "$2"
		return
	else
		# A device that is stuck holds all its files of this kind back: no other is waited for.
		case $? in 124 | 137 | 143) why="Connection timed out" stuck=${3%/*} ;; esac
	fi
	rm -f "$2" "$2.part"
	note "$3" "${why##*: }"
}

# take TO PATH NAME...: copy files and links of the current folder that are not there yet.
take() {
	to=$1 path=$2
	shift 2
	$patience cp -P "$@" "$to/" 2>/dev/null
	for name; do
		[ -L "$name" ] || [ -s "$to/${name##*/}" ] || again "$name" "$to/${name##*/}" "$path/${name##*/}"
	done
}

patience= stuck=
held= # How a read is kept from waiting for ever, where the system has a way.
if timeout 5 true 2>/dev/null; then held='timeout 5'; fi

# each HOW BELOW NAMES: take files of every device of the last look.
each() { todo="$todo$1 $2 $3$newline"; }

# look FOLDER WHICH: what hangs in a folder of links to devices, such as bus/usb/devices.
# The calls of "each" that follow say what to take; they are carried out by the next look.
look() {
	finish
	todo= current=$1 which=$2
}

finish() {
	[ -n "$current" ] || return 0
	cd "$base/sys/$current" 2>/dev/null || return 0
	[ -r . ] || { note "sys/$current" "Permission denied"; return 0; }
	mkdir -p "$copy/sys/$current"
	set --
	for entry in *; do [ -L "$entry" ] && set -- "$@" "./$entry"; done
	[ $# -gt 0 ] || return 0
	cp -P "$@" "$copy/sys/$current/"
	make_folders "$@"
	for entry; do
		if cd -P "$base/sys/$current/$entry" 2>/dev/null; then
			device
		elif [ -z "$root" ]; then
			rm -f "$copy/sys/$current/$entry" # It left meanwhile.
		fi
	done
}

# make_folders LINK...: the folders of the devices behind the links, in one go.
make_folders() {
	folders=$#
	for entry; do
		cd -P "$base/sys/$current/$entry" 2>/dev/null || continue
		skipped && continue
		set -- "$@" "$copy${PWD#"$base"}"
	done
	shift "$folders"
	[ $# -eq 0 ] || mkdir -p "$@"
}

# Whether the current folder is that of a device that no hardware carries, and that is not looked at.
skipped() {
	[ "$which" = all ] && return 1
	case ${PWD#"$base"} in /sys/devices/virtual/*) return 0 ;; esac
	return 1
}

# The current folder is a device's: take its links and what is asked of it.
device() {
	skipped && return 0
	place=${PWD#"$base"}
	patience= listed= wanted_names=$links
	take_there .
	while read -r how below names; do
		[ -n "$how" ] || continue
		wanted "$how" || continue
		case $below in
		*'*'*) for part in $below; do [ -d "$part" ] && part_of_device "$part" "$names"; done ;;
		.) part_of_device . "$names" ;;
		*) [ -d "$below" ] && part_of_device "$below" "$names" ;;
		esac
	done <<TODO
$todo
TODO
}

# wanted HOW: whether this is to be asked of the device in the current folder.
wanted() {
	patience= listed=
	case $1 in
	awake) awake . && awake device ;;
	named) [ -e hid ] ;;
	guarded) patience=$held ;;
	listed) listed=yes ;;
	esac
}

# awake FOLDER: whether a read there wakes nothing; so too where the kernel tells nothing of its sleep.
awake() {
	state=
	[ -r "$1/power/runtime_status" ] && read -r state <"$1/power/runtime_status"
	case $state in active | unsupported | '') return 0 ;; esac
	return 1
}

links='@LINKS@'

# part_of_device FOLDER NAMES: take files of a folder at or below the device; a USB port has links of its own.
part_of_device() {
	wanted_names=$2
	case $1 in *-port*) wanted_names="$2 device peer firmware_node" ;; esac
	take_there "$1"
}

# take_there FOLDER: of a folder at or below the current one, what $wanted_names says and is there.
take_there() {
	target=$copy$place
	[ "$1" = . ] || target=$target/$1
	set -- "$1"
	set -f # The patterns are matched in that folder, not in this one.
	for name in $wanted_names; do
		set +f
		for match in "$1"/$name; do
			{ [ -f "$match" ] || [ -L "$match" ]; } || continue
			[ -e "$target/${match##*/}" ] || [ -L "$target/${match##*/}" ] || set -- "$@" "$match"
		done
	done
	set +f
	inside=$1
	shift
	[ $# -gt 0 ] || return 0
	[ -d "$target" ] || mkdir -p "$target"
	if [ -n "$listed" ]; then
		for match; do : >"$target/${match##*/}"; done
	elif [ "$inside" = . ]; then
		take "$target" "$place" "$@"
	else
		take "$target" "$place/$inside" "$@"
	fi
}

# drivers FOLDER: the names of a bus's drivers.
drivers() {
	finish
	current=
	cd "$base/sys/$1/drivers" 2>/dev/null || return 0
	names=$copy/sys/$1/drivers
	set -- "$names"
	for entry in *; do [ -d "$entry" ] && set -- "$@" "$names/$entry"; done
	mkdir -p "$@"
}

# file PATH: a file that is no attribute, when it is there.
file() {
	[ -f "$base/$1" ] || [ -L "$base/$1" ] || return 0
	mkdir -p "$copy/${1%/*}"
	if [ -L "$base/$1" ]; then cp -P "$base/$1" "$copy/$1"; else again "$base/$1" "$copy/$1" "$1"; fi
}

# --- The run ----------------------------------------------------------------

[ -n "$seconds" ] || { [ -n "$root" ] && seconds=0 || seconds=10; }
if [ "$seconds" -gt 0 ]; then
	say "Gathering in $seconds s. Take out now what is not part of the unit, but for this stick."
	left=$seconds
	while [ "$left" -gt 0 ]; do
		[ -n "$quiet" ] || [ ! -t 2 ] || printf '\r%4d s ' "$left" >&2
		sleep 1
		left=$((left - 1))
	done
	[ -n "$quiet" ] || [ ! -t 2 ] || printf '\r         \r' >&2
fi
say "Gathering ..."
{
	printf 'taken_at %s\n' "$([ -n "$root" ] || date -u +%Y-%m-%dT%H:%M:%SZ)"
	printf 'privileged %s\n' "$([ -z "$root" ] && [ "$(id -u 2>/dev/null)" = 0 ] && echo yes || echo no)"
	printf 'collector usbwatch @VERSION@ capture.sh\n'
} >"$copy/meta/taken.txt"

# The kernel's log, record by record as it is: read beside the rest, since its end is waited at.
# "dmesg" is the way where that may not be read.
log=$copy/meta/dmesg.txt
if [ -n "$root" ]; then
	file meta/dmesg.txt
	file meta/proc-cmdline.txt
	file meta/proc-modules.txt
	file meta/uname.txt
elif [ -r /dev/kmsg ]; then
	cat /dev/kmsg >"$log" 2>/dev/null &
	logger=$!
fi

current= listed=
@ASKED@
finish
current=

# What those lead to, and then the devices on the way to all of them: what they are, and what firmware calls them.
if [ -d "$copy/sys/devices" ]; then
	find "$copy/sys/devices" -type d -exec sh -c '
		copy=$1 base=$2
		shift 2
		for folder; do
			for lead in physical_node device; do
				[ -L "$folder/$lead" ] || continue
				cd -P "$base${folder#"$copy"}/$lead" 2>/dev/null || continue
				to=$copy${PWD#"$base"}
				for link in subsystem driver firmware_node; do
					[ -L "$link" ] && [ ! -L "$to/$link" ] || continue
					[ -d "$to" ] || mkdir -p "$to"
					cp -P "$link" "$to/"
				done
			done
		done
	' sh "$copy" "$base" {} +
	find "$copy/sys/devices" -type d -exec sh -c '
		copy=$1 base=$2
		shift 2
		for folder; do
			from=$base${folder#"$copy"}
			for link in subsystem firmware_node; do
				[ -L "$folder/$link" ] || [ ! -L "$from/$link" ] || cp -P "$from/$link" "$folder/"
			done
		done
	' sh "$copy" "$base" {} +
fi

# The SMBIOS table; before kernel 4.2 its records one by one, and only of the types that are read.
if cd "$base/sys/firmware/dmi/tables" 2>/dev/null; then
	mkdir -p "$copy/sys/firmware/dmi/tables"
	for name in DMI smbios_entry_point; do file "sys/firmware/dmi/tables/$name"; done
elif cd "$base/sys/firmware/dmi/entries" 2>/dev/null; then
	for type in @RECORDS@; do
		for record in "$type"-*; do file "sys/firmware/dmi/entries/$record/raw"; done
	done
fi
if [ -d "$base/sys/class/mem" ]; then
	mkdir -p "$copy/sys/class/mem"
	[ ! -L "$base/sys/class/mem/kmsg" ] || cp -P "$base/sys/class/mem/kmsg" "$copy/sys/class/mem/"
fi

# The system that looks: its kernel, what it was told, which drivers it has.
for name in cmdline modules cpuinfo sys/kernel/osrelease; do file "proc/$name"; done
if [ ! -s "$copy/proc/modules" ] && cd "$base/sys/module" 2>/dev/null; then
	set --
	for entry in *; do set -- "$@" "$copy/sys/module/$entry"; done
	mkdir -p "$@"
fi
release=
[ -r "$copy/proc/sys/kernel/osrelease" ] && read -r release <"$copy/proc/sys/kernel/osrelease"
case $release in
'' | *[!A-Za-z0-9._+~-]* | *..*) ;;
*)
	for name in modules.alias modules.builtin.modinfo; do
		for holder in lib usr/lib; do
			[ -s "$copy/lib/modules/$release/$name" ] || file "$holder/modules/$release/$name"
		done
	done
	;;
esac
for above in etc run usr/local/lib usr/lib lib; do
	cd "$base/$above/modprobe.d" 2>/dev/null || continue
	mkdir -p "$copy/$above/modprobe.d"
	for name in *.conf; do file "$above/modprobe.d/$name"; done
done

told="not there"
if [ -n "$logger" ]; then
	before=-1 turns=0 # A device that comes and goes writes on and on.
	while [ "$turns" -lt 25 ] && size=$(wc -c <"$log") && [ "$size" != "$before" ]; do
		before=$size turns=$((turns + 1))
		sleep 0.2 2>/dev/null || sleep 1
	done
	if kill "$logger" 2>/dev/null; then
		wait "$logger" 2>/dev/null
	else
		# It ended by itself: records were overwritten, or it may not be read.
		: >"$log"
	fi
	logger=
fi
if [ -z "$root" ] && [ ! -s "$log" ]; then
	why=$(dmesg 2>&1 >"$log") || : >"$log"
	if [ ! -s "$log" ]; then
		rm -f "$log"
		[ ! -e /dev/kmsg ] || note meta/dmesg.txt "Operation not permitted"
	fi
fi
[ ! -s "$log" ] || told="there"

# --- Onto the stick ---------------------------------------------------------

model=
[ -r "$base/sys/class/dmi/id/product_name" ] && read -r model <"$base/sys/class/dmi/id/product_name"
model=$(printf '%s' "$model" | tr 'A-Z' 'a-z' | tr -c 'a-z0-9' '-' | sed 's/--*/-/g; s/^-//' | cut -c1-40 | sed 's/-$//')
[ -n "$output" ] || output=$folder/${model:-unit}-$(date +%Y-%m-%d-%H%M%S).tar
stem=${output%.tar} number=1 target=$output
taken() { [ -e "$1" ] || [ -L "$1" ]; }
while taken "$target" || taken "${target%.tar}.txt"; do
	number=$((number + 1))
	target=$stem-$number.tar
done
# A folder of our own, for a name that others can foresee may be a link of theirs.
unwritable() { fail "the archive cannot be written to $folder (${1##*: }); is the stick full, or was it pulled out?"; }
draft=$(mktemp -d "$folder/.usbwatch-XXXXXX" 2>"$copy/.said") || {
	draft=
	unwritable "$(sed -n '1p' "$copy/.said")"
}
cd "$copy" || fail "the folder in memory has gone; run this again."
set --
for name in *; do set -- "$@" "$name"; done
tar -cf "$draft/tar" "$@" 2>"$copy/.said" || unwritable "$(sed -n '1p' "$copy/.said")"
sync
mv "$draft/tar" "$target" || fail "the archive cannot be given its name $target; was the stick pulled out?"
saved="$target is saved"
sync
say "Saved $target"

counted() {
	for bus in @COUNTED@; do
		[ -d "$copy/sys/$bus" ] || {
			printf '  %-28s not there: this kernel has no /sys/%s\r\n' "$bus" "$bus"
			continue
		}
		cd "$copy/sys/$bus" || continue
		set -- *
		[ -e "$1" ] || [ -L "$1" ] || shift
		printf '  %-28s %5d\r\n' "$bus" $#
	done
}
{
	printf 'Gathered by usbwatch @VERSION@, capture.sh\r\n'
	printf 'model: %s; %s\r\n' "${model:-not known}" "$(sed -n 's/^taken_at //p' "$copy/meta/taken.txt")"
	grep -q '^privileged yes' "$copy/meta/taken.txt" || printf 'NOT as root: some serial numbers and tables were not readable\r\n'
	printf '\r\nSEEN: entries of each bus\r\n'
	counted
	printf '\r\nNOT READ: %s files\r\n' "$unread"
	sed -n "1,20{s/$tab/: /;s/[^ -~]/?/g;s/^/  /;s/\$/$(printf '\r')/;p;}" "$copy/meta/unread.txt"
	printf '\r\nKERNEL LOG: %s\r\n' "$told"
	printf '\r\nHOW TO GO ON\r\n  Take this stick to the bench computer and run:\r\n'
	printf '  usbwatch check --root %s\r\n' "${target##*/}"
	printf '  Not seen is not the same as missing.\r\n  The archive holds serial numbers of the unit.\r\n'
} >"$draft/txt" 2>/dev/null && mv "$draft/txt" "${target%.tar}.txt" 2>/dev/null ||
	fail "$target is saved, but its summary could not be written beside it."
rm -rf "$draft"
draft=
sync
say "Saved ${target%.tar}.txt, for you to read"
say "At the bench computer: usbwatch check --root ${target##*/}"
signal 2 0.25
exit 0
