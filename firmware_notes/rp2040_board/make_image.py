"""Makes a compiled board's image ready for the chip: ``python make_image.py board.bin`` writes ``board.uf2``.

The boot ROM runs the first 256 bytes of flash only where their last four hold the sum of the others (RP2040 data sheet, boot
sequence). Held with its boot button while USB is plugged in, a board shows itself as a drive: copy the ``.uf2`` there.
"""

import struct
import sys
from pathlib import Path

FLASH = 0x10000000
FAMILY = 0xE48BFF56
"""The chip's number in UF2 files, which are 512-byte blocks of 256 bytes each."""


def checksum(code: bytes) -> int:
    """CRC-32 as the boot ROM counts it: polynomial 0x04C11DB7, from all ones, bits not reflected, nothing added at the end."""
    value = 0xFFFFFFFF
    for byte in code:
        value ^= byte << 24
        for _ in range(8):
            value = (value << 1 ^ 0x04C11DB7 if value & 0x80000000 else value << 1) & 0xFFFFFFFF
    return value


def with_checksum(image: bytes) -> bytes:
    """The image with the boot code's sum in its place."""
    return image[:252] + struct.pack("<I", checksum(image[:252])) + image[256:]


def uf2(image: bytes) -> bytes:
    """The image as a UF2 file."""
    parts = [image[at : at + 256].ljust(256, b"\0") for at in range(0, len(image), 256)]
    head = (0x0A324655, 0x9E5D5157, 0x00002000)
    blocks = (
        struct.pack("<8I", *head, FLASH + 256 * at, 256, at, len(parts), FAMILY)
        + part.ljust(476, b"\0")
        + struct.pack("<I", 0x0AB16F30)
        for at, part in enumerate(parts)
    )
    return b"".join(blocks)


if __name__ == "__main__":
    path = Path(sys.argv[1])
    path.with_suffix(".uf2").write_bytes(uf2(with_checksum(path.read_bytes())))
