"""Attachments that a viewer would show otherwise than verification reads them, and bombs.

Whoever holds the key can sign such a file, so no signature tells of it.
"""

from __future__ import annotations

import tracemalloc
from collections.abc import Callable
from io import BytesIO
from typing import Any

import pikepdf
import pytest
from helpers.signing import ATTACHED, archived
from pikepdf import Array, Dictionary, Name, String

from compliance.signing.attached_files import MOST_FILES, read_attachments

FIRST = "assessment.json"
LARGEST = 1 << 20


def changed(change: Callable[[Any], None]) -> bytes:
    """A small archival PDF with two attachments after a change."""
    with pikepdf.open(BytesIO(archived())) as pdf:
        change(pdf)
        out = BytesIO()
        pdf.save(out, stream_decode_level=pikepdf.StreamDecodeLevel.none)
    return out.getvalue()


def names(pdf: Any) -> Any:
    return pdf.Root.Names.EmbeddedFiles.Names


def file(pdf: Any, data: bytes = b"{}", name: str = FIRST) -> Any:
    """A file specification."""
    stream = pdf.make_stream(
        data,
        Type=Name.EmbeddedFile,
        Subtype=Name("/application/json"),
        Params=names(pdf)[1].EF.F.Params,
    )
    return pdf.make_indirect(
        Dictionary(
            Type=Name.Filespec,
            F=String(name),
            UF=String(name),
            EF=Dictionary(F=stream, UF=stream),
            AFRelationship=Name.Data,
            Desc=String("A file"),
        )
    )


def one_name_twice(pdf: Any) -> None:
    names(pdf).extend([String(FIRST), file(pdf)])


def one_file_twice(pdf: Any) -> None:
    names(pdf).extend([names(pdf)[0], names(pdf)[1]])


def another_unicode_name(pdf: Any) -> None:
    names(pdf)[1].UF = String("other.json")


def another_name(pdf: Any) -> None:
    names(pdf)[1].F = String("other.json")


def another_file_under_the_unicode_name(pdf: Any) -> None:
    names(pdf)[1].EF.UF = pdf.make_stream(b'{"verdict": "compliant"}', Type=Name.EmbeddedFile)


def another_associated_file(pdf: Any) -> None:
    pdf.Root.AF[0] = file(pdf)


def an_associated_file_more(pdf: Any) -> None:
    pdf.Root.AF.append(file(pdf, name="more.json"))


def no_file(pdf: Any) -> None:
    names(pdf).append(String("x"))


def a_loop(pdf: Any) -> None:
    tree = pdf.make_indirect(Dictionary(Kids=Array()))
    tree.Kids.append(tree)
    pdf.Root.Names.EmbeddedFiles = tree


def coded_otherwise(pdf: Any) -> None:
    names(pdf)[1].EF.F.write(b"\1{}\x80", filter=Name.RunLengthDecode)


def a_bomb(pdf: Any) -> None:
    names(pdf)[1].EF.F.write(bytes(50 * LARGEST))


def under_many_names(pdf: Any) -> None:
    """A small file that would be unpacked a hundred times."""
    whole = file(pdf).EF
    for number in range(100):
        names(pdf).extend([String(f"{number}.json"), file(pdf, name=f"{number}.json")])
        names(pdf)[-1].EF = whole


def too_many(pdf: Any) -> None:
    for number in range(MOST_FILES):
        names(pdf).extend([String(f"{number}.json"), file(pdf, name=f"{number}.json")])


def with_related_files(pdf: Any) -> None:
    names(pdf)[1].RF = Dictionary(F=Array([String("more.json"), file(pdf).EF.F]))


def without_description(pdf: Any) -> None:
    del names(pdf)[1].Desc


def of_another_size(pdf: Any) -> None:
    names(pdf)[1].EF.F.Params.Size = 1


def of_another_checksum(pdf: Any) -> None:
    names(pdf)[1].EF.F.Params.CheckSum = String(b"0" * 16)


def with_more_parameters(pdf: Any) -> None:
    names(pdf)[1].EF.F.Params.Mac = Dictionary()


def kept_outside(pdf: Any) -> None:
    names(pdf)[1].EF.F.F = String("/tmp/elsewhere.json")


def plain_and_large(pdf: Any) -> None:
    pdf.Root.Names.EmbeddedFiles.Names[1].EF.F.write(bytes(range(256)) * 8000)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (one_name_twice, "there are two attachments assessment.json"),
        (one_file_twice, "there are two attachments assessment.json"),
        (another_unicode_name, "attachment assessment.json is also named other.json"),
        (another_name, "attachment assessment.json is also named other.json"),
        (
            another_file_under_the_unicode_name,
            "attachment assessment.json has two different contents",
        ),
        (another_associated_file, "associated file assessment.json is not among the attachments"),
        (an_associated_file_more, "the associated file more.json is not among the attachments"),
        (no_file, "the tree of attachments has a name without a file"),
        (a_loop, "the tree of attachments is too large"),
        (coded_otherwise, "is encoded otherwise than with /FlateDecode"),
        (kept_outside, "is encoded otherwise than with /FlateDecode"),
        (under_many_names, "one file is attached under two names"),
        (too_many, "it has more than 110 attachments"),
        (with_related_files, "attachment assessment.json is described otherwise than in a sheet"),
        (without_description, "attachment assessment.json is described otherwise than in a sheet"),
        (of_another_size, "attachment assessment.json has another size or checksum"),
        (of_another_checksum, "attachment assessment.json has another size or checksum"),
        (with_more_parameters, "attachment assessment.json has another size or checksum"),
        (a_bomb, "attachment assessment.json has more than 1048576 bytes"),
        (plain_and_large, "attachment assessment.json has more than 1048576 bytes"),
    ],
)
def test_it_is_refused(change: Callable[[Any], None], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        read_attachments(changed(change), largest=lambda _: LARGEST)


def test_a_bomb_is_not_unpacked() -> None:
    data = changed(a_bomb)
    assert len(data) < LARGEST
    tracemalloc.start()
    try:
        with pytest.raises(ValueError, match="more than"):
            read_attachments(data, largest=lambda _: LARGEST)
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most < 10 * LARGEST


def test_what_was_not_changed_is_read() -> None:
    assert read_attachments(changed(lambda _: None), largest=lambda _: LARGEST) == ATTACHED


def test_a_sheet_with_many_deviations_names_its_files_in_a_tree() -> None:
    files = {f"deviation-{number}.json": b"{}" for number in range(1, 100)}
    data = archived(files)
    assert b"/Limits" in data
    assert read_attachments(data, largest=lambda _: LARGEST) == files
