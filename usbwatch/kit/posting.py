"""Sends a capture, or a collector's archive, to the bench computer that listens.

The standard library alone, Python 3.8. What is sent is not encrypted.
"""

from __future__ import annotations

import http.client
import re
import socket
import time
from typing import Callable, Dict, NamedTuple, Optional, Tuple

from usbwatch.kit.port import DEFAULT_PORT
from usbwatch.safe import safe

__all__ = ["NotPosted", "place", "post"]

_TIMEOUT_S = 60.0
"""For one answer: the bench reads a capture before it acknowledges it."""
_CONNECT_S = 4.0
"""For one connection: on a cable, or within a shop's network, it takes milliseconds."""
_PATIENCE_S = 60.0
"""For all attempts together, beyond the time that one takes, with a bench that answers."""
_NOBODY_S = 10.0
"""The same where nobody has answered: time for a network that is just coming up, and somebody waits in the dark."""
_FIRST_WAIT_S, _LONGEST_WAIT_S = 0.5, 10.0
_LONGEST_ANSWER = 4096
_AGAIN = frozenset({500, 503})
_TAR_MAGIC = slice(257, 262)


class NotPosted(Exception):
    """Why a capture is not at the bench; ``str()`` is one sentence that says what to do."""


class _Answer(NamedTuple):
    status: int
    text: str
    wait_s: Optional[float]


def post(
    content: bytes,
    address: str,
    code: str = "",
    *,
    patience_s: float = _PATIENCE_S,
    sleep: Callable[[float], None] = time.sleep,
) -> str:
    """The bench's answer in one line, once it has the capture, now or from before.

    ``address`` is a host or ``host:port`` (IPv6: ``[fe80::1]:7613``); ``code``
    is the one on the bench's screen. A bench that is busy is asked again for
    ``patience_s`` seconds, one that does not answer for 10 at most. Raises
    ``NotPosted``.
    """
    host, port = place(address)
    fields = _fields(content, code)
    began, patience, wait = time.monotonic(), min(patience_s, _NOBODY_S), _FIRST_WAIT_S
    while True:
        answer, problem = _asked(content, host, port, fields)
        if answer is not None and answer.status in (200, 201):
            return answer.text
        if answer is not None and answer.status not in _AGAIN:
            raise NotPosted(_refusal(answer))
        if answer is not None:
            patience = patience_s
        if time.monotonic() + wait > began + patience:
            raise NotPosted(problem or _refusal(answer))
        sleep(min(answer.wait_s, _LONGEST_WAIT_S) if answer is not None and answer.wait_s is not None else wait)
        wait = min(2 * wait, _LONGEST_WAIT_S)


def place(address: str) -> Tuple[str, int]:
    """Host and port of an address as a person types it; the host is not looked up. Raises ``NotPosted``."""
    text = re.sub(r"\Ahttp://|/(capture)?\Z", "", address.strip())
    bracketed = re.match(r"\[([^\[\]]+)\](?::([0-9]{1,5}))?\Z", text)
    plain = re.match(r"([^:\[\]/@\s]+)(?::([0-9]{1,5}))?\Z", text)
    bare = re.match(r"([0-9A-Fa-f:.]*:[0-9A-Fa-f:.]*:[0-9A-Fa-f:.]*(?:%\w+)?)()\Z", text)
    found = bracketed or plain or bare
    port = int(found.group(2) or DEFAULT_PORT) if found else 0
    if not found or not 0 < port < 65536:  # noqa: PLR2004 - a port has 16 bits
        raise NotPosted(f"{safe(address)} is no address; give it as the bench shows it, such as 192.168.7.1:7613.")
    return found.group(1), port


def _fields(content: bytes, code: str) -> Dict[str, str]:
    fields = {"Content-Type": _type(content), "User-Agent": "usbwatch-kit"}
    shown = "".join(letter for letter in code if letter.isalnum() and letter.isascii())
    if shown:
        fields["Authorization"] = f"Bearer {shown}"
    return fields


def _type(content: bytes) -> str:
    """What it is, told by how it begins. Raises ``NotPosted``."""
    if content.startswith(b"\x1f\x8b"):
        return "application/gzip"
    if content[_TAR_MAGIC] == b"ustar":
        return "application/x-tar"
    if content.lstrip()[:1] == b"{":
        return "application/json"
    raise NotPosted("this is neither a capture nor a collector's archive; send the file that the kit made.")


def _asked(content: bytes, host: str, port: int, fields: Dict[str, str]) -> Tuple[Optional[_Answer], str]:
    """The answer, or why there is none."""
    shown = f"{safe(host, 60)}, port {port}"
    connection = http.client.HTTPConnection(host, port, timeout=_CONNECT_S)
    try:
        connection.connect()
        connection.sock.settimeout(_TIMEOUT_S)
        connection.request("POST", "/capture", body=content, headers={**fields, "Host": _named(host, port)})
        return _read(connection.getresponse()), ""
    except ConnectionRefusedError:
        return None, f"nobody listens at {shown}; start usbwatch listen on the bench, with --address, and try again."
    except (socket.gaierror, UnicodeError):  # the latter: a name that cannot be one
        raise NotPosted(f"{safe(host, 60)} is not known; give the bench's address in numbers.") from None
    except (TimeoutError, socket.timeout):  # noqa: UP041 - before Python 3.10 they are two
        return None, f"the bench at {shown} does not answer; look at the cable and the address."
    except OSError as error:
        return _early(
            connection
        ), f"the bench at {shown} cannot be reached ({error.strerror or error}); look at the cable."
    except http.client.HTTPException:
        return None, f"what listens at {shown} is no usbwatch; look at the address and the port."
    finally:
        connection.close()


def _early(connection: http.client.HTTPConnection) -> Optional[_Answer]:
    """An answer that came before all was sent: who refuses what is too large does not wait for the rest."""
    if connection.sock is None:
        return None
    response = http.client.HTTPResponse(connection.sock, method="POST")
    try:
        response.begin()
        return _read(response)
    except (OSError, http.client.HTTPException):
        return None


def _named(host: str, port: int) -> str:
    bare = host.partition("%")[0]
    return f"[{bare}]:{port}" if ":" in bare else f"{bare}:{port}"


def _read(response: http.client.HTTPResponse) -> _Answer:
    """The answer. Raises ``HTTPException`` for one in chunks, which no bench sends.

    The library takes a chunk's length as it is told, and would ask for as much memory.
    """
    if response.chunked:
        raise http.client.HTTPException("an answer in chunks")
    text = response.read(_LONGEST_ANSWER).decode("utf-8", "replace").strip()
    wait = response.getheader("Retry-After") or ""
    seconds = float(wait) if re.match(r"[0-9]{1,4}\Z", wait) else None
    return _Answer(response.status, safe(re.sub(r"\Ausbwatch: ", "", text), 1000), seconds)


def _refusal(answer: Optional[_Answer]) -> str:
    assert answer is not None
    why = answer.text or f"status {answer.status}"
    if answer.status == 401:  # noqa: PLR2004 - RFC 9110 section 15.5.2
        return f"the bench did not take the code: {why}."
    if answer.status == 413:  # noqa: PLR2004 - RFC 9110 section 15.5.14
        return f"the bench did not take it: {why}."
    return f"the bench did not take it (status {answer.status}): {why}."
