"""Where one H.264 clip ends and the next begins: IDR pictures side by side must not have the same idr_pic_id.

ITU-T H.264 (04/2017), 7.4.3. Each clip numbers its own, so two may meet at a joint that have the same; decoders
that tell pictures apart by it would take them for one. The slice header gets another number;
the picture stays.
"""

from __future__ import annotations

from collections.abc import Iterator

from scenes.film.skip_pictures import IDR_SLICE, BitReader, BitWriter, Parameters, escaped, parameters, unescaped

LENGTH_BYTES = 4
"""How long a NAL unit is, in these bytes before it (ISO/IEC 14496-15)."""


def stream_parameters(extradata: bytes | None) -> Parameters | None:
    """The parameters in an mp4's avcC box (ISO/IEC 14496-15, 5.3.3.1); None for any other stream than the films'.

    These have one slice a picture, picture order count type 2, and nothing redundant.
    """
    box = extradata or b""
    if len(box) < 8 or box[0] != 1 or (box[4] & 3) + 1 != LENGTH_BYTES:
        return None
    units, at = [], 5
    for mask in (31, 255):
        count, at = box[at] & mask, at + 1
        for _ in range(count):
            size = int.from_bytes(box[at : at + 2], "big")
            units.append(box[at + 2 : at + 2 + size])
            at += 2 + size
    try:
        found = parameters(b"".join(b"\0\0\0\1" + unit for unit in units))
    except ValueError:
        return None
    covered = found.order_type == 2 and found.is_progressive and not found.has_redundant_count
    return found if covered else None


def idr_pic_id(packet: bytes, stream: Parameters) -> int | None:
    """The number of a packet's IDR picture; None for another picture."""
    for unit in _units(packet):
        if unit[0] & 31 == IDR_SLICE:
            reader = _at_number(unescaped(unit[1:]), stream)
            return reader.ue()
    return None


def renumbered(packet: bytes, stream: Parameters, number: int) -> bytes:
    """The packet with another number for its IDR picture."""
    units = (_renumbered(u, stream, number) if u[0] & 31 == IDR_SLICE else u for u in _units(packet))
    return b"".join(len(unit).to_bytes(LENGTH_BYTES, "big") + unit for unit in units)


def _units(packet: bytes) -> Iterator[bytes]:
    at = 0
    while at < len(packet):
        size = int.from_bytes(packet[at : at + LENGTH_BYTES], "big")
        yield packet[at + LENGTH_BYTES : at + LENGTH_BYTES + size]
        at += LENGTH_BYTES + size


def _at_number(payload: bytes, stream: Parameters) -> BitReader:
    """A reader of a slice (7.3.3) just before its idr_pic_id."""
    reader = BitReader(payload)
    reader.ue()  # first_mb_in_slice
    reader.ue()  # slice_type
    reader.ue()  # pic_parameter_set_id
    reader.u(stream.frame_num_bits)
    return reader


def _renumbered(unit: bytes, stream: Parameters, number: int) -> bytes:
    payload = unescaped(unit[1:])
    reader = _at_number(payload, stream)
    first = 8 * len(payload) - reader.left
    reader.ue()
    behind = 8 * len(payload) - reader.left
    reader.u(2)  # no_output_of_prior_pics_flag, long_term_reference_flag
    reader.se()  # slice_qp_delta
    if stream.has_deblocking_control and reader.ue() != 1:
        reader.se()
        reader.se()
    end = 8 * len(payload) - reader.left

    bits = f"{int.from_bytes(payload, 'big'):0{8 * len(payload)}b}"
    written = BitWriter()
    written.ue(number)
    head = bits[:first] + "".join(map(str, written.bits)) + bits[behind:end]
    if stream.is_cabac:
        # the slice's data start on a byte, after ones (7.3.4)
        head += "1" * (-len(head) % 8)
        body = bits[end + -end % 8 :]
    else:
        body = bits[end:].rstrip("0")  # the last one is the stop bit
        body += "0" * (-(len(head) + len(body)) % 8)
    whole = head + body
    return unit[:1] + escaped(int(whole, 2).to_bytes(len(whole) // 8, "big"))
