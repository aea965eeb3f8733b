"""H.264 pictures that say "the same again": P pictures whose every macroblock is skipped, made without an encoder.

A held picture is encoded once; each further frame of the hold is one of these, of some tens of bytes. They count
like any picture, so the encoder's next one gets a later number. Syntax and tables: ITU-T H.264 (04/2017), clauses
7.3 and 9.3, tables 9-13, 9-44 and 9-45, from memory and checked by decoders, by FFmpeg's own header reader, and
against what x264 writes for an unchanged picture.

Only what x264 writes for progressive pictures without B pictures is covered: picture order count type 2, one slice
a picture.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

# table 9-44, rangeTabLPS: by probability state and bits 6 and 7 of the range
RANGE_LPS = (
    (128, 176, 208, 240), (128, 167, 197, 227), (128, 158, 187, 216), (123, 150, 178, 205),
    (116, 142, 169, 195), (111, 135, 160, 185), (105, 128, 152, 175), (100, 122, 144, 166),
    (95, 116, 137, 158), (90, 110, 130, 150), (85, 104, 123, 142), (81, 99, 117, 135),
    (77, 94, 111, 128), (73, 89, 105, 122), (69, 85, 100, 116), (66, 80, 95, 110),
    (62, 76, 90, 104), (59, 72, 86, 99), (56, 69, 81, 94), (53, 65, 77, 89),
    (51, 62, 73, 85), (48, 59, 69, 80), (46, 56, 66, 76), (43, 53, 63, 72),
    (41, 50, 59, 69), (39, 48, 56, 65), (37, 45, 54, 62), (35, 43, 51, 59),
    (33, 41, 48, 56), (32, 39, 46, 53), (30, 37, 43, 50), (29, 35, 41, 48),
    (27, 33, 39, 45), (26, 31, 37, 43), (24, 30, 35, 41), (23, 28, 33, 39),
    (22, 27, 32, 37), (21, 26, 30, 35), (20, 24, 29, 33), (19, 23, 27, 31),
    (18, 22, 26, 30), (17, 21, 25, 28), (16, 20, 23, 27), (15, 19, 22, 25),
    (14, 18, 21, 24), (14, 17, 20, 23), (13, 16, 19, 22), (12, 15, 18, 21),
    (12, 14, 17, 20), (11, 14, 16, 19), (11, 13, 15, 18), (10, 12, 15, 17),
    (10, 12, 14, 16), (9, 11, 13, 15), (9, 11, 12, 14), (8, 10, 12, 14),
    (8, 9, 11, 13), (7, 9, 11, 12), (7, 9, 10, 12), (7, 8, 10, 11),
    (6, 8, 9, 11), (6, 7, 9, 10), (6, 7, 8, 9), (2, 2, 2, 2),
)  # fmt: skip

# table 9-45, transIdxLPS; the state after the more probable symbol is the next one, up to 62
AFTER_LPS = (
    0, 0, 1, 2, 2, 4, 4, 5, 6, 7, 8, 9, 9, 11, 11, 12, 13, 13, 15, 15, 16, 16, 18, 18, 19, 19, 21, 21, 22, 22,
    23, 24, 24, 25, 26, 26, 27, 27, 28, 29, 29, 30, 30, 30, 31, 32, 32, 33, 33, 33, 34, 34, 35, 35, 35, 36, 36,
    36, 37, 37, 37, 38, 38, 63,
)  # fmt: skip

SKIP_FLAG_M_N = 23, 33
"""Table 9-13, mb_skip_flag of P slices (ctxIdx 11), cabac_init_idc 0."""

NON_IDR_SLICE, IDR_SLICE, SPS, PPS = 1, 5, 7, 8


class BitReader:
    """Reads an unescaped payload bit by bit."""

    def __init__(self, payload: bytes) -> None:
        self._value = int.from_bytes(payload, "big")
        self._left = 8 * len(payload)

    @property
    def left(self) -> int:
        """Bits that are not read yet."""
        return self._left

    def u(self, bits: int) -> int:
        """An unsigned number of so many bits; ValueError past the end."""
        self._left -= bits
        if self._left < 0:
            raise ValueError("the payload is shorter than its syntax")
        return self._value >> self._left & (1 << bits) - 1

    def ue(self) -> int:
        """An unsigned Exp-Golomb number."""
        zeros = 0
        while not self.u(1):
            zeros += 1
        return (1 << zeros) - 1 + self.u(zeros)

    def se(self) -> int:
        """A signed Exp-Golomb number."""
        k = self.ue()
        return (k + 1) // 2 if k % 2 else -(k // 2)


class BitWriter:
    """Collects bits."""

    def __init__(self) -> None:
        self.bits: list[int] = []

    def u(self, value: int, bits: int) -> None:
        """An unsigned number of so many bits."""
        self.bits += [value >> k & 1 for k in range(bits - 1, -1, -1)]

    def ue(self, value: int) -> None:
        """An unsigned Exp-Golomb number."""
        length = (value + 1).bit_length()
        self.u(value + 1, 2 * length - 1)

    def fill(self, bit: int) -> None:
        """Repeat a bit up to the next byte."""
        self.bits += [bit] * (-len(self.bits) % 8)

    def payload(self) -> bytes:
        """The bytes; the bits must fill them."""
        assert len(self.bits) % 8 == 0
        return bytes(int("".join(map(str, self.bits[k : k + 8])), 2) for k in range(0, len(self.bits), 8))


def nal_units(stream: bytes) -> Iterator[bytes]:
    """The NAL units of a byte stream with start codes.

    >>> list(nal_units(bytes([0, 0, 0, 1, 7, 9, 0, 0, 1, 8])))
    [b'\\x07\\t', b'\\x08']
    """
    for piece in stream.split(b"\0\0\1")[1:]:
        yield piece.rstrip(b"\0")


def escaped(payload: bytes) -> bytes:
    """A payload with the bytes that keep it from looking like a start code.

    >>> escaped(bytes([0, 0, 1, 0, 0, 0]))
    b'\\x00\\x00\\x03\\x01\\x00\\x00\\x03\\x00'
    """
    return re.sub(rb"\0\0(?=[\0-\3])", b"\0\0\3", payload)


def unescaped(unit: bytes) -> bytes:
    """The payload of a NAL unit without those bytes."""
    return unit.replace(b"\0\0\3", b"\0\0")


@dataclass(frozen=True, slots=True)
class Parameters:
    """What the parameter sets say that a slice header needs; sizes in macroblocks."""

    pps_id: int
    frame_num_bits: int
    order_type: int
    macroblocks: int
    is_progressive: bool
    is_cabac: bool
    has_bottom_order: bool
    is_weighted: bool
    initial_qp: int
    has_deblocking_control: bool
    has_redundant_count: bool


def parameters(headers: bytes) -> Parameters:
    """The parameters in an encoder's headers: one sequence and one picture parameter set, with start codes.

    Raises ValueError for anything else.
    """
    units = {unit[0] & 31: unescaped(unit[1:]) for unit in nal_units(headers)}
    if SPS not in units or PPS not in units:
        raise ValueError("no parameter sets in the headers")
    sps = BitReader(units[SPS])
    profile = sps.u(8)
    sps.u(16)
    sps.ue()
    is_high = profile in (100, 110, 122, 244)
    if is_high and (sps.ue() != 1 or sps.ue() or sps.ue() or sps.u(1) or sps.u(1)):
        raise ValueError("not 8 bit 4:2:0, or with scaling lists")
    frame_num_bits = sps.ue() + 4
    order_type = sps.ue()
    if order_type == 0:
        sps.ue()
    elif order_type == 1:
        raise ValueError("picture order count type 1")
    sps.ue()
    sps.u(1)
    macroblocks = (sps.ue() + 1) * (sps.ue() + 1)
    is_progressive = bool(sps.u(1))
    pps = BitReader(units[PPS])
    pps_id = pps.ue()
    pps.ue()
    is_cabac, has_bottom_order = bool(pps.u(1)), bool(pps.u(1))
    if pps.ue():
        raise ValueError("slice groups")
    pps.ue()
    pps.ue()
    is_weighted = bool(pps.u(1))
    pps.u(2)
    initial_qp = 26 + pps.se()
    pps.se()
    pps.se()
    has_deblocking_control = bool(pps.u(1))
    pps.u(1)
    return Parameters(
        pps_id,
        frame_num_bits,
        order_type,
        macroblocks,
        is_progressive,
        is_cabac,
        has_bottom_order,
        is_weighted,
        initial_qp,
        has_deblocking_control,
        bool(pps.u(1)),
    )


@dataclass(frozen=True, slots=True)
class SkipPictures:
    """Makes the skipped pictures of one stream."""

    stream: Parameters

    @classmethod
    def of(cls, headers: bytes | None) -> SkipPictures:
        """For the stream with these headers; ValueError when it has features that are not covered."""
        found = parameters(headers or b"")
        if found.order_type != 2 or not found.is_progressive or found.has_redundant_count:
            raise ValueError("B pictures, interlaced or redundant pictures")
        return cls(found)

    def picture(self, since_idr: int) -> bytes:
        """The picture so many pictures after an IDR picture, with a start code.

        All between are reference pictures: frame_num counts on, and with order type 2 it gives the place in time.
        """
        return _picture(self.stream, since_idr % (1 << self.stream.frame_num_bits))

    def numbered(self, picture: bytes, since_idr: int) -> bytes:
        """An encoder's picture of one slice, with start codes, as the one so many pictures after an IDR picture.

        Only frame_num changes, which has the same length for every picture: nothing behind it moves.
        """
        at = picture.rindex(b"\0\0\1") + 3
        payload = unescaped(picture[at + 1 :])
        head = BitReader(payload[:16])
        for _ in ("first_mb_in_slice", "slice_type", "pic_parameter_set_id"):
            head.ue()
        bits = self.stream.frame_num_bits
        now, wanted = head.u(bits), since_idr % (1 << bits)
        if now == wanted:
            return picture
        changed = int.from_bytes(payload[:16], "big") ^ (now ^ wanted) << head.left
        return picture[: at + 1] + escaped(changed.to_bytes(len(payload[:16]), "big") + payload[16:])


@lru_cache(maxsize=256)
def _picture(stream: Parameters, frame_num: int) -> bytes:
    header = BitWriter()
    header.ue(0)  # first_mb_in_slice
    header.ue(5)  # slice_type: P, like all slices of the picture
    header.ue(stream.pps_id)
    header.u(frame_num, stream.frame_num_bits)
    header.u(1, 1)  # num_ref_idx_active_override_flag: one reference, whatever the default
    header.ue(0)
    header.u(0, 1)  # ref_pic_list_modification_flag_l0
    if stream.is_weighted:
        header.ue(0)  # luma and chroma denominators, then no weights: copies stay copies
        header.ue(0)
        header.u(0, 2)
    header.u(0, 1)  # adaptive_ref_pic_marking_mode_flag: sliding window
    if stream.is_cabac:
        header.ue(0)  # cabac_init_idc
    header.ue(0)  # slice_qp_delta
    if stream.has_deblocking_control:
        header.ue(1)  # deblocking off: nothing is to change
    if stream.is_cabac:
        header.fill(1)
        payload = header.payload() + _skips_cabac(stream.macroblocks, stream.initial_qp)
    else:
        header.ue(stream.macroblocks)  # mb_skip_run
        header.u(1, 1)
        header.fill(0)
        payload = header.payload()
    return b"\0\0\0\1" + bytes([2 << 5 | NON_IDR_SLICE]) + escaped(payload)


@lru_cache(maxsize=16)
def _skips_cabac(macroblocks: int, qp: int) -> bytes:
    """Slice data of so many skipped macroblocks with stop bit: clauses 9.3.1.1 (start) and 9.3.4 (coding)."""
    m, n = SKIP_FLAG_M_N
    start = min(max((m * min(max(qp, 0), 51) >> 4) + n, 1), 126)
    state, likely = (start - 64, 1) if start > 63 else (63 - start, 0)
    low, span, outstanding, is_first = 0, 510, 0, True
    out = BitWriter()

    def put(bit: int) -> None:
        nonlocal outstanding, is_first
        if is_first:
            is_first = False
        else:
            out.bits.append(bit)
        out.bits += [1 - bit] * outstanding
        outstanding = 0

    def renormalise() -> None:
        nonlocal low, span, outstanding
        while span < 256:
            if low < 256:
                put(0)
            elif low >= 512:
                low -= 512
                put(1)
            else:
                low -= 256
                outstanding += 1
            span, low = span << 1, low << 1

    for k in range(macroblocks):
        # mb_skip_flag 1: no neighbour is ever unskipped, so that the context is the same throughout
        less = RANGE_LPS[state][span >> 6 & 3]
        span -= less
        if likely == 1:
            state = min(state + 1, 62)
        else:
            low, span = low + span, less
            likely = 1 - likely if state == 0 else likely
            state = AFTER_LPS[state]
        renormalise()
        # end_of_slice_flag
        span -= 2
        if k == macroblocks - 1:
            low, span = low + span, 2
        renormalise()
    put(low >> 9 & 1)
    out.u(low >> 7 & 3 | 1, 2)
    out.fill(0)
    return out.payload()
