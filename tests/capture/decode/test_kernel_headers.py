"""Our tables of layouts against the kernel's own headers, which were written from the same standards by others.

The structures and numbers are read from ``/usr/include/linux/usb`` (package linux-libc-dev).
"""

from __future__ import annotations

import re
from functools import cache
from typing import NamedTuple

import pytest
from support.needs import needed_file

from usbwatch.capture.decode import usb_audio, usb_bos, usb_cdc, usb_companion, usb_hub, usb_video
from usbwatch.capture.decode.layout import HEAD, SUBTYPED_HEAD, Layout, Part

SIZES = {"__u8": 1, "__le16": 2, "__u16": 2, "__le32": 4, "__u32": 4}
NAMES = {
    # The header's spelling, and the standard's.
    "wreseved": "wreserved",
    "bu2devexitlat": "wu2devexitlat",
    "buintid": "bunitid",
    "wcountycode0": "wcountrycode",
    "bslaveinterface0": "bslaveinterface",
    "bfunctionlength": "blength",
    "bdesclength": "blength",
}
"""By lower-case name; where a list's first element has a number of its own, the list."""


class Member(NamedTuple):
    name: str
    size: int | None
    """None: as long as the descriptor says."""


@cache
def header(name: str) -> str:
    text = needed_file((f"/usr/include/linux/usb/{name}.h",), "linux-libc-dev").read_text(encoding="utf-8")
    return re.sub(r"/\*.*?\*/", "", text, flags=re.DOTALL)


def members(name: str, structure: str) -> list[Member]:
    """The members of a structure, up to the first brace inside it."""
    found = re.search(rf"struct {structure} \{{([^{{}}]*)", header(name))
    assert found, f"{structure} is not in {name}.h"
    read = re.findall(r"^\s*(__\w+)\s+(\w+)((?:\[[^\]]*\])*);", found[1], flags=re.MULTILINE)
    return [Member(_spelt(field), _size(kind, dimensions)) for kind, field, dimensions in read]


def _spelt(name: str) -> str:
    return NAMES.get(name.lower(), name.lower())


def _size(kind: str, dimensions: str) -> int | None:
    if not dimensions:
        return SIZES[kind]
    length = dimensions[1:-1]
    return int(length) * SIZES[kind] if length.isdecimal() and int(length) else None


def constants(name: str) -> dict[str, int]:
    found = re.findall(r"^#\s*define\s+(\w+)\s+\(?(0x[0-9a-fA-F]+|\d+)\)?\s*$", header(name), flags=re.MULTILINE)
    return {constant: int(value, 0) for constant, value in found}


def of_part(part: Part) -> Member:
    fixed = isinstance(part.elements, int) and part.elements > 0
    return Member(part.name.lower(), part.size * part.elements if fixed and isinstance(part.elements, int) else None)


def compare(theirs: list[Member], head: tuple[Part, ...], layout: Layout) -> None:
    """The same names in the same order, and the same sizes up to the first that the descriptor itself sets."""
    ours = [of_part(part) for part in (*head, *layout.parts)]
    assert [member.name for member in ours] == [member.name for member in theirs]
    assert len(ours) > len(head)
    for mine, kernels in zip(ours, theirs, strict=True):
        if mine.size is None:
            break
        assert mine == kernels


CDC = {
    "USB_CDC_HEADER_TYPE": "usb_cdc_header_desc",
    "USB_CDC_CALL_MANAGEMENT_TYPE": "usb_cdc_call_mgmt_descriptor",
    "USB_CDC_ACM_TYPE": "usb_cdc_acm_descriptor",
    "USB_CDC_UNION_TYPE": "usb_cdc_union_desc",
    "USB_CDC_COUNTRY_TYPE": "usb_cdc_country_functional_desc",
    "USB_CDC_NETWORK_TERMINAL_TYPE": "usb_cdc_network_terminal_desc",
    "USB_CDC_ETHERNET_TYPE": "usb_cdc_ether_desc",
    "USB_CDC_MDLM_TYPE": "usb_cdc_mdlm_desc",
    "USB_CDC_MDLM_DETAIL_TYPE": "usb_cdc_mdlm_detail_desc",
    "USB_CDC_DMM_TYPE": "usb_cdc_dmm_desc",
    "USB_CDC_OBEX_TYPE": "usb_cdc_obex_desc",
    "USB_CDC_NCM_TYPE": "usb_cdc_ncm_desc",
    "USB_CDC_MBIM_TYPE": "usb_cdc_mbim_desc",
    "USB_CDC_MBIM_EXTENDED_TYPE": "usb_cdc_mbim_extended_desc",
}


@pytest.mark.parametrize(("constant", "structure"), CDC.items(), ids=list(CDC.values()))
def test_communications(constant: str, structure: str) -> None:
    compare(members("cdc", structure), SUBTYPED_HEAD, usb_cdc.FUNCTIONAL[constants("cdc")[constant]])


def test_every_communications_layout_was_compared() -> None:
    assert {constants("cdc")[constant] for constant in CDC} == set(usb_cdc.FUNCTIONAL)


VIDEO_CONTROL = {
    "UVC_VC_HEADER": "uvc_header_descriptor",
    "UVC_VC_INPUT_TERMINAL": "uvc_input_terminal_descriptor",
    "UVC_VC_OUTPUT_TERMINAL": "uvc_output_terminal_descriptor",
    "UVC_VC_SELECTOR_UNIT": "uvc_selector_unit_descriptor",
    "UVC_VC_PROCESSING_UNIT": "uvc_processing_unit_descriptor",
    "UVC_VC_EXTENSION_UNIT": "uvc_extension_unit_descriptor",
}
VIDEO_STREAMING = {
    "UVC_VS_INPUT_HEADER": "uvc_input_header_descriptor",
    "UVC_VS_OUTPUT_HEADER": "uvc_output_header_descriptor",
    "UVC_VS_FORMAT_UNCOMPRESSED": "uvc_format_uncompressed",
    "UVC_VS_FRAME_UNCOMPRESSED": "uvc_frame_uncompressed",
    "UVC_VS_FORMAT_MJPEG": "uvc_format_mjpeg",
    "UVC_VS_FRAME_MJPEG": "uvc_frame_mjpeg",
    "UVC_VS_COLORFORMAT": "uvc_color_matching_descriptor",
}
# Numbers that the header has, but no structure: their layouts are from memory.
VIDEO_NUMBERS = {
    "UVC_VS_STILL_IMAGE_FRAME": "still image frame",
    "UVC_VS_FORMAT_FRAME_BASED": "frame-based format",
    "UVC_VS_FRAME_FRAME_BASED": "frame-based frame",
}


@pytest.mark.parametrize(("constant", "structure"), VIDEO_CONTROL.items(), ids=list(VIDEO_CONTROL.values()))
def test_video_control(constant: str, structure: str) -> None:
    compare(members("video", structure), SUBTYPED_HEAD, usb_video.CONTROL[constants("video")[constant]])


@pytest.mark.parametrize(("constant", "structure"), VIDEO_STREAMING.items(), ids=list(VIDEO_STREAMING.values()))
def test_video_streaming(constant: str, structure: str) -> None:
    compare(members("video", structure), SUBTYPED_HEAD, usb_video.STREAMING[constants("video")[constant]])


def test_a_camera_terminal() -> None:
    camera = usb_video.input_terminal_layout(bytes.fromhex("12 24 02 01 01 02"))
    assert camera is not None
    compare(members("video", "uvc_camera_terminal_descriptor"), SUBTYPED_HEAD, camera)
    assert constants("video")["UVC_ITT_CAMERA"] == 0x0201


def test_the_interrupt_endpoint_of_a_camera() -> None:
    layout = usb_video.ENDPOINT[constants("video")["UVC_EP_INTERRUPT"]]
    compare(members("video", "uvc_control_endpoint_descriptor"), SUBTYPED_HEAD, layout)


def test_the_numbers_of_every_video_layout() -> None:
    known = constants("video")
    assert {known[constant] for constant in VIDEO_CONTROL} == set(usb_video.CONTROL)
    assert {known[constant] for constant in (*VIDEO_STREAMING, *VIDEO_NUMBERS)} == set(usb_video.STREAMING)
    for constant, name in VIDEO_NUMBERS.items():
        assert usb_video.STREAMING[known[constant]].name == name


AUDIO_CONTROL = {
    "UAC_HEADER": "uac1_ac_header_descriptor",
    "UAC_INPUT_TERMINAL": "uac_input_terminal_descriptor",
    "UAC_OUTPUT_TERMINAL": "uac1_output_terminal_descriptor",
}
# Structures that the header ends at the list of sources; it reads what follows in functions.
AUDIO_UNITS = {
    "UAC_MIXER_UNIT": "uac_mixer_unit_descriptor",
    "UAC_SELECTOR_UNIT": "uac_selector_unit_descriptor",
    "UAC_FEATURE_UNIT": "uac_feature_unit_descriptor",
    "UAC1_PROCESSING_UNIT": "uac_processing_unit_descriptor",
}


@pytest.mark.parametrize(("constant", "structure"), AUDIO_CONTROL.items(), ids=list(AUDIO_CONTROL.values()))
def test_audio_control(constant: str, structure: str) -> None:
    compare(members("audio", structure), SUBTYPED_HEAD, usb_audio.CONTROL[constants("audio")[constant]])


@pytest.mark.parametrize(("constant", "structure"), AUDIO_UNITS.items(), ids=list(AUDIO_UNITS.values()))
def test_audio_units_up_to_their_lists(constant: str, structure: str) -> None:
    theirs = members("audio", structure)
    layout = usb_audio.CONTROL[constants("audio")[constant]]
    cut = layout.parts[: len(theirs) - len(SUBTYPED_HEAD)]
    compare(theirs, SUBTYPED_HEAD, layout._replace(parts=cut))


def test_the_numbers_of_every_audio_layout() -> None:
    known = constants("audio")
    assert {known[name] for name in (*AUDIO_CONTROL, *AUDIO_UNITS, "UAC1_EXTENSION_UNIT")} == set(usb_audio.CONTROL)
    assert known["UAC_AS_GENERAL"] in usb_audio.STREAMING
    assert known["UAC_EP_GENERAL"] in usb_audio.ENDPOINT
    assert usb_audio.format_layout(bytes([8, 0x24, known["UAC_FORMAT_TYPE"], known["UAC_FORMAT_TYPE_I"]])) is not None


def test_audio_streams() -> None:
    known = constants("audio")
    stream = usb_audio.STREAMING[known["UAC_AS_GENERAL"]]
    compare(members("audio", "uac1_as_header_descriptor"), SUBTYPED_HEAD, stream)
    endpoint = usb_audio.ENDPOINT[known["UAC_EP_GENERAL"]]
    compare(members("audio", "uac_iso_endpoint_descriptor"), SUBTYPED_HEAD, endpoint)


@pytest.mark.parametrize(("kind", "structure"), [("I", "i"), ("II", "ii")])
def test_audio_formats(kind: str, structure: str) -> None:
    known = constants("audio")
    layout = usb_audio.format_layout(bytes([8, 0x24, known["UAC_FORMAT_TYPE"], known[f"UAC_FORMAT_TYPE_{kind}"]]))
    assert layout is not None
    # The list of frequencies has two dimensions there, of three bytes each.
    theirs = members("audio", f"uac_format_type_{structure}_discrete_descriptor")
    compare(theirs, SUBTYPED_HEAD, layout)


@pytest.mark.parametrize("name", ["audio", "video"])
def test_terminal_types(name: str) -> None:
    ours = {"audio": usb_audio.TERMINAL_TYPES, "video": usb_video.TERMINAL_TYPES}[name]
    pattern = r"UAC_(?:INPUT_|OUTPUT_|BIDIR_)?TERMINAL_|UVC_(?:TT|ITT|OTT|EXTERNAL)_|UVC_\w+_CONNECTOR"
    theirs = {
        value for constant, value in constants(name).items() if re.match(pattern, constant) and 0x100 <= value < 0x500
    }
    assert len(theirs) > 10
    assert theirs == {kind for kind in ours if kind < 0x500}


CAPABILITIES = {
    "USB_CAP_TYPE_WIRELESS_USB": "usb_wireless_cap_descriptor",
    "USB_CAP_TYPE_EXT": "usb_ext_cap_descriptor",
    "USB_SS_CAP_TYPE": "usb_ss_cap_descriptor",
    "CONTAINER_ID_TYPE": "usb_ss_container_id_descriptor",
    "USB_PD_POWER_DELIVERY_CAPABILITY": "usb_pd_cap_descriptor",
    "USB_PD_BATTERY_INFO_CAPABILITY": "usb_pd_cap_battery_info_descriptor",
    "USB_PD_PD_CONSUMER_PORT_CAPABILITY": "usb_pd_cap_consumer_port_descriptor",
    "USB_PD_PD_PROVIDER_PORT_CAPABILITY": "usb_pd_cap_provider_port_descriptor",
    "USB_SSP_CAP_TYPE": "usb_ssp_cap_descriptor",
}


@pytest.mark.parametrize(("constant", "structure"), CAPABILITIES.items(), ids=list(CAPABILITIES.values()))
def test_device_capabilities(constant: str, structure: str) -> None:
    layout = usb_bos.CAPABILITIES[constants("ch9")[constant]]
    compare(members("ch9", structure), usb_bos.CAPABILITY_HEAD, layout)


def test_precision_time_measurement_has_only_a_head() -> None:
    layout = usb_bos.CAPABILITIES[constants("ch9")["USB_PTM_CAP_TYPE"]]
    assert layout.parts == ()
    assert len(members("ch9", "usb_ptm_cap_descriptor")) == len(usb_bos.CAPABILITY_HEAD)


def test_which_capabilities_are_from_memory() -> None:
    compared = {constants("ch9")[constant] for constant in (*CAPABILITIES, "USB_PTM_CAP_TYPE")}
    assert set(usb_bos.CAPABILITIES) - compared == {0x05, 0x0D, 0x0F}


def test_the_store_and_the_companions() -> None:
    known = constants("ch9")
    compare(members("ch9", "usb_bos_descriptor"), HEAD, usb_bos.STORE)
    plain = usb_companion.COMPANION[known["USB_DT_SS_ENDPOINT_COMP"]]
    compare(members("ch9", "usb_ss_ep_comp_descriptor"), HEAD, plain)
    isochronous = usb_companion.COMPANION[known["USB_DT_SSP_ISOC_ENDPOINT_COMP"]]
    compare(members("ch9", "usb_ssp_isoc_ep_comp_descriptor"), HEAD, isochronous)
    assert known["USB_DT_BOS"] == usb_bos._BOS
    assert known["USB_DT_DEVICE_CAPABILITY"] == usb_bos._CAPABILITY


def test_hubs() -> None:
    common = members("ch11", "usb_hub_descriptor")
    assert len(common) == 6
    variants = re.findall(r"struct \{([^}]*)\}[^;]*?(\w+);", header("ch11"))
    assert [name for _, name in variants] == ["hs", "ss"]
    for (body, _), kind in zip(variants, (0x29, 0x2A), strict=True):
        names = [name.lower() for name in re.findall(r"^\s*__\w+\s+(\w+)", body, flags=re.MULTILINE)]
        ours = [part.name.lower() for part in usb_hub.HUB[kind].parts]
        assert ours == [member.name for member in common[2:]] + names
    for mine, kernels in zip(usb_hub.HUB[0x29].parts[:4], common[2:], strict=True):
        assert of_part(mine) == kernels
    # Sizes: USB_DT_HUB_NONVAR_SIZE up to the lists, USB_DT_SS_HUB_SIZE in all.
    known = constants("ch11")
    assert sum(member.size or 0 for member in common) == known["USB_DT_HUB_NONVAR_SIZE"]
    superspeed = [of_part(part).size for part in (*HEAD, *usb_hub.HUB[0x2A].parts)]
    assert sum(size or 0 for size in superspeed) == known["USB_DT_SS_HUB_SIZE"]
