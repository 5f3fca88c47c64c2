"""Small valid pictures of every kind, and damage that knows their layout: a chunk with its checksum right again."""

from __future__ import annotations

import io
import struct
import zlib
from random import Random
from typing import Any

import numpy as np
from PIL import Image, ImageCms

from tests.fuzz.mutations import mutated_bytes

SIDE = 208  # just above the least that read_photo takes [px]
_SIZES = (0, 1, 199, 200, 208, 4000, 14_000, 16_383, 20_000, 65_535, 100_000, 2**24, 2**31 - 1, 2**32 - 1)


def small_pictures() -> list[bytes]:
    """One small file for each format and mode that a camera, scanner or program writes."""
    y, x = np.mgrid[0:SIDE, 0:SIDE]
    rgb = np.stack([x, y, (x * 7 + y * 3) % 256], axis=-1).astype(np.uint8)
    colour = Image.fromarray(rgb)
    grey, alpha = colour.convert("L"), colour.convert("RGBA")
    alpha.putalpha(grey)
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8769).update({0xA405: 26, 0x920A: 4.2, 0xA002: SIDE, 0xA003: SIDE, 0xA20E: 5000.0, 0xA210: 3})
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    deep = Image.fromarray((np.arange(SIDE * SIDE, dtype=np.uint32).reshape(SIDE, SIDE) % 65_536).astype(np.uint16))
    kinds: list[tuple[Image.Image, str, dict[str, Any]]] = [
        (colour, "JPEG", {"quality": 80, "exif": exif, "icc_profile": profile}),
        (colour, "JPEG", {"quality": 40, "progressive": True, "subsampling": 2}),
        (grey, "JPEG", {"icc_profile": profile}), (colour.convert("CMYK"), "JPEG", {}),
        (colour, "PNG", {"exif": exif, "icc_profile": profile}), (alpha, "PNG", {}),
        (colour.convert("P"), "PNG", {"transparency": 3}), (grey.convert("1"), "PNG", {}), (deep, "PNG", {}),
        (colour, "TIFF", {"exif": exif}), (colour, "TIFF", {"compression": "tiff_lzw", "icc_profile": profile}),
        (colour, "TIFF", {"compression": "jpeg"}), (deep, "TIFF", {"compression": "tiff_adobe_deflate"}),
        (grey.convert("1"), "TIFF", {"compression": "group4"}), (colour.convert("LAB"), "TIFF", {})
        if "LAB" in Image.MODES else (grey, "TIFF", {}),
        (grey.convert("F"), "TIFF", {}), (colour.convert("CMYK"), "TIFF", {}),
        (colour, "WEBP", {"quality": 60, "exif": exif}), (alpha, "WEBP", {"lossless": True}),
        (colour, "BMP", {}), (colour.convert("P"), "BMP", {}), (colour, "GIF", {}), (colour, "MPO", {}),
    ]
    pictures = [_saved(*kind) for kind in kinds]
    pictures.append(_saved(colour, "WEBP", {"save_all": True, "append_images": [grey.convert("RGB")], "duration": 80}))
    pictures.append(_saved(colour, "TIFF", {"save_all": True, "append_images": [colour]}))
    return pictures + _heif(colour, exif)


def _saved(image: Image.Image, kind: str, options: dict[str, Any]) -> bytes:
    stream = io.BytesIO()
    image.save(stream, kind, **options)
    return stream.getvalue()


def _heif(colour: Image.Image, exif: Image.Exif) -> list[bytes]:
    import pillow_heif

    stream = io.BytesIO()
    heif = pillow_heif.from_pillow(colour)
    heif.info["exif"] = exif.tobytes()
    heif.save(stream, quality=60)
    pictures = [stream.getvalue()]
    if "AVIF" in Image.SAVE:
        pictures.append(_saved(colour, "AVIF", {"quality": 50}))
    return pictures


def mutated_picture(content: bytes, others: list[bytes], random: Random) -> bytes:
    """A picture damaged by its layout where it has one we know, else, and half of the time, by bytes."""
    layouts = {b"\x89PNG": _png, b"\xff\xd8": _jpeg, b"II*\x00": _tiff, b"RIFF": _webp, b"BM": _bmp}
    layout = next((damage for start, damage in layouts.items() if content.startswith(start)), None)
    if layout is None and content[4:8] == b"ftyp":
        layout = _boxes
    if layout is None or random.random() < 0.4:
        return mutated_bytes(content, others, random)
    try:
        return layout(bytearray(content), random)
    except (IndexError, ValueError, struct.error):  # damaged already: its layout is gone
        return mutated_bytes(content, others, random)


def _png(content: bytearray, random: Random) -> bytes:
    """Chunks changed, left out, twice or in another order; checksums right, so that the decoder goes on."""
    chunks, at = [], 8
    while at + 12 <= len(content):
        length = int.from_bytes(content[at : at + 4], "big")
        chunks.append((bytes(content[at + 4 : at + 8]), bytearray(content[at + 8 : at + 8 + length])))
        at += 12 + length
    which = random.randrange(len(chunks))
    name, body = chunks[which]
    match random.randrange(6):
        case 0:  # the header: sizes, depth, colour type, interlace
            header = chunks[0][1]
            header[0:8] = struct.pack(">II", random.choice(_SIZES), random.choice(_SIZES))
        case 1:
            chunks[0][1][random.randrange(8, 13)] = random.choice((0, 1, 2, 3, 4, 6, 8, 16, 255))
        case 2:
            chunks[which] = (name, bytearray(mutated_bytes(bytes(body), [], random)))
        case 3:
            chunks.insert(random.randrange(len(chunks) + 1), chunks[which])
        case 4:
            del chunks[which]
        case _:
            bomb = zlib.compress(bytes(random.choice((1000, 20_000_000))), 9)
            extra = {b"iCCP": b"p\0\0" + bomb, b"zTXt": b"t\0\0" + bomb, b"iTXt": b"t\0\1\0\0\0" + bomb,
                     b"eXIf": b"II*\0" + bytes(random.randrange(256) for _ in range(40)), b"tRNS": bytes(7),
                     b"acTL": struct.pack(">II", 2**31 - 1, 0), b"PLTE": bytes(random.choice((0, 3, 5, 768, 900))),
                     b"IDAT": bomb}
            name = random.choice(list(extra))
            chunks.insert(random.randrange(1, len(chunks) + 1), (name, bytearray(extra[name])))
    return bytes(content[:8]) + b"".join(struct.pack(">I", len(body)) + name + body
                                         + struct.pack(">I", zlib.crc32(name + body)) for name, body in chunks)


def _jpeg(content: bytearray, random: Random) -> bytes:
    """A segment's length or body changed, left out or repeated; the frame header's size another."""
    places, at = [], 2
    while at + 4 <= len(content) and content[at] == 0xFF and content[at + 1] != 0xDA:
        places.append(at)
        at += 2 + int.from_bytes(content[at + 2 : at + 4], "big")
    place = random.choice(places)
    end = place + 2 + int.from_bytes(content[place + 2 : place + 4], "big")
    match random.randrange(5):
        case 0:
            content[place + 2 : place + 4] = struct.pack(">H", random.choice((0, 1, 2, 3, 17, 200, 65_535)))
        case 1:
            content[place + 4 : end] = mutated_bytes(bytes(content[place + 4 : end]), [], random)
        case 2:
            del content[place:end]
        case 3:
            content[place:place] = content[place:end] * random.choice((1, 3, 2000))
        case _:
            frame = next((p for p in places if content[p + 1] in (0xC0, 0xC1, 0xC2)), place)
            content[frame + 5 : frame + 9] = struct.pack(">HH", *(random.choice(_SIZES) % 65_536 for _ in range(2)))
    return bytes(content)


def _tiff(content: bytearray, random: Random) -> bytes:
    """An entry of the first directory: tag, type, count or value changed."""
    directory = struct.unpack_from("<I", content, 4)[0]
    entries = struct.unpack_from("<H", content, directory)[0]
    at = directory + 2 + 12 * random.randrange(entries)
    field, width = random.choice(((0, "H"), (2, "H"), (4, "I"), (8, "I"), (8, "I")))
    if random.random() < 0.15:  # a directory that is its own successor
        struct.pack_into("<I", content, directory + 2 + 12 * entries, directory)
    value = random.choice((*_SIZES, *range(18), 256, 257, 258, 259, 262, 277, 322, 323, 34_675, len(content) - 1))
    struct.pack_into(f"<{width}", content, at + field, value % 256 ** struct.calcsize(width))
    return bytes(content)


def _webp(content: bytearray, random: Random) -> bytes:
    """The size in the canvas, frame or chunk header changed."""
    at = random.choice((4, 12, 16, 20, 24, 26, 28, random.randrange(12, len(content) - 4)))
    struct.pack_into("<I", content, at, random.choice(_SIZES))
    return bytes(content)


def _bmp(content: bytearray, random: Random) -> bytes:
    """A field of the two headers changed."""
    at = random.choice((2, 10, 14, 18, 22, 26, 28, 30, 34, 46, 50))
    struct.pack_into("<i", content, at, random.choice((-1, -208, 1, 2, 3, 4, 8, 16, 24, 32, 40, *_SIZES[:-1])))
    return bytes(content)


def _boxes(content: bytearray, random: Random) -> bytes:
    """A length or count in the metadata boxes of HEIC and AVIF changed."""
    struct.pack_into(">I", content, random.randrange(0, min(len(content), 700) - 4), random.choice(_SIZES))
    return bytes(content)
