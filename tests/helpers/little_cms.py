"""CGATS text through Little CMS, the library included with Pillow: an outside reference."""

from __future__ import annotations

import ctypes
from importlib.metadata import files
from pathlib import Path


def library() -> ctypes.CDLL:
    """The library, its functions on CGATS text typed."""
    found = [
        Path(str(each.locate()))
        for package in ("pillow",)
        for each in files(package) or ()
        if "liblcms2" in each.name
    ]
    lcms = ctypes.CDLL(str(found[0]) if found else "liblcms2.so.2")
    text, handle, number = ctypes.c_char_p, ctypes.c_void_p, ctypes.c_int
    lcms.cmsIT8Alloc.restype = handle
    lcms.cmsIT8Alloc.argtypes = [handle]
    lcms.cmsIT8LoadFromMem.restype = handle
    lcms.cmsIT8LoadFromMem.argtypes = [handle, ctypes.c_char_p, ctypes.c_uint32]
    lcms.cmsIT8GetData.restype = text
    lcms.cmsIT8GetData.argtypes = [handle, text, text]
    lcms.cmsIT8GetProperty.restype = text
    lcms.cmsIT8GetProperty.argtypes = [handle, text]
    lcms.cmsIT8SetSheetType.argtypes = [handle, text]
    lcms.cmsIT8SetPropertyStr.argtypes = [handle, text, text]
    lcms.cmsIT8SetPropertyDbl.argtypes = [handle, text, ctypes.c_double]
    lcms.cmsIT8SetDataFormat.argtypes = [handle, number, text]
    lcms.cmsIT8SetDataRowCol.argtypes = [handle, number, number, text]
    lcms.cmsIT8SaveToMem.argtypes = [handle, ctypes.c_void_p, ctypes.POINTER(ctypes.c_uint32)]
    lcms.cmsIT8Free.argtypes = [handle]
    return lcms


def values(data: bytes, fields: list[str]) -> dict[str, list[str]]:
    """The named fields as Little CMS reads them, by SAMPLE_ID 1, 2, …; ValueError if it cannot."""
    lcms = library()
    handle = lcms.cmsIT8LoadFromMem(None, data, len(data))
    if not handle:
        raise ValueError("Little CMS does not read this")
    try:
        count = int(float(lcms.cmsIT8GetProperty(handle, b"NUMBER_OF_SETS")))
        return {
            field: [
                lcms.cmsIT8GetData(handle, str(number).encode(), field.encode()).decode()
                for number in range(1, count + 1)
            ]
            for field in fields
        }
    finally:
        lcms.cmsIT8Free(handle)


def written(fields: list[str], rows: list[list[str]], properties: dict[str, str]) -> bytes:
    """CGATS text with that data, written by Little CMS."""
    lcms = library()
    handle = lcms.cmsIT8Alloc(None)
    try:
        lcms.cmsIT8SetSheetType(handle, b"CGATS.17")
        for name, value in properties.items():
            lcms.cmsIT8SetPropertyStr(handle, name.encode(), value.encode())
        lcms.cmsIT8SetPropertyDbl(handle, b"NUMBER_OF_FIELDS", len(fields))
        lcms.cmsIT8SetPropertyDbl(handle, b"NUMBER_OF_SETS", len(rows))
        for place, field in enumerate(fields):
            lcms.cmsIT8SetDataFormat(handle, place, field.encode())
        for at, row in enumerate(rows):
            for place, cell in enumerate(row):
                lcms.cmsIT8SetDataRowCol(handle, at, place, cell.encode())
        size = ctypes.c_uint32(0)
        assert lcms.cmsIT8SaveToMem(handle, None, ctypes.byref(size))
        buffer = ctypes.create_string_buffer(size.value)
        assert lcms.cmsIT8SaveToMem(handle, buffer, ctypes.byref(size))
        return buffer.raw[: size.value].rstrip(b"\0")
    finally:
        lcms.cmsIT8Free(handle)
