"""The facility changes the PDF before it signs: the evidence is honest, the file shows more.

| attack | line that refuses it |
|---|---|
| painted over, exponents, a box or page turned, fonts swapped | page 1 shows something else |
| boxes and keys of pages | page 1 has other entries |
| actions, scripts, layers, hidden notes, forms | what no sheet has, or the catalog differs |
| links removed, added, to another page or the web | page 1 has other links, or has /A |
| another name or time in a signature's box | shows something else than its signature states |
| another reason of the signature | states another reason or place |
| descriptions and further files of attachments | described otherwise than in a sheet |
| objects that nothing uses | is used by nothing |
| another library is said to have drawn the pages | were not compared (exit 3) |
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace

import pikepdf
import pytest
from adversary.forging import (
    Change,
    Desk,
    Unsigned,
    changed,
    drawn,
    passing,
    refused,
    sealed,
    words,
)
from helpers.signing import SIGNED, identity
from pikepdf import Array, Dictionary, Name, Pdf, String

from compliance.sheet.make_sheet import draw_stamp
from compliance.signing.sign import FACILITY_FIELD


def test_control(desk: Desk) -> None:
    """Written again by the forger's library, the file is as good as before."""
    assert desk.verify(sealed(drawn(passing()), lambda _: None)).returncode == 0


# ---------------------------------------------------------------- what pages show


def content(pdf: Pdf) -> bytes:
    data: bytes = pdf.pages[0].Contents.read_bytes()
    return data


def redrawn(pdf: Pdf, data: bytes) -> None:
    pdf.pages[0].Contents = pdf.make_stream(data)


def painted_over(pdf: Pdf) -> None:
    redrawn(pdf, content(pdf) + b"\nq 1 1 1 rg 40 600 500 200 re f Q\n")


def painted_over_behind_a_comment(pdf: Pdf) -> None:
    redrawn(pdf, content(pdf) + b"\n%\rq 1 1 1 rg 40 600 500 200 re f Q\n")


def other_number(text: bytes) -> Change:
    def change(pdf: Pdf) -> None:
        before = content(pdf)
        after = before.replace(b"1 0 0 1 0 0 cm", text + b" 0 0 1 0 0 cm", 1)
        assert after != before
        redrawn(pdf, after)

    return change


def in_pieces(pdf: Pdf) -> None:
    """A second stream of the same page, which a careless reader does not see."""
    paint = pdf.make_stream(b"q 1 1 1 rg 40 600 500 200 re f Q\n")
    pdf.pages[0].Contents = Array([pdf.pages[0].Contents, paint])


def fonts_swapped(pdf: Pdf) -> None:
    fonts = pdf.pages[0].Resources.Font
    first, second, *_ = fonts.keys()
    fonts[first], fonts[second] = fonts[second], fonts[first]


def glyphs_changed(pdf: Pdf) -> None:
    font = next(font for _, font in pdf.pages[0].Resources.Font.items() if "/Widths" in font)
    font.Encoding = Dictionary(Type=Name.Encoding, Differences=Array([97, Name("/space")]))


def colours_turned(pdf: Pdf) -> None:
    white = Array([0.9505, 1, 1.089])
    calibrated = Array([Name.CalRGB, Dictionary(WhitePoint=white, Gamma=Array([9, 9, 9]))])
    pdf.pages[0].Resources.ColorSpace = Dictionary(DefaultRGB=calibrated)


def profile_changed(pdf: Pdf) -> None:
    profile = pdf.Root.OutputIntents[0].DestOutputProfile
    data = bytearray(profile.read_bytes())
    data[-30] ^= 64
    profile.write(bytes(data))
    profile.N = 3


ELSE = "page 1 shows something else"
ENTRIES = "page 1 has other entries"
SHOWN: Mapping[str, tuple[Change, str]] = {
    "painted over": (painted_over, ELSE),
    "painted over behind a comment": (painted_over_behind_a_comment, ELSE),
    "number with an exponent": (other_number(b"1e0"), ELSE),
    "number with an underscore": (other_number(b"0_1"), ELSE),
    "infinite number": (other_number(b"inf"), ELSE),
    "in pieces": (in_pieces, ELSE),
    "fonts swapped": (fonts_swapped, ELSE),
    "glyphs changed": (glyphs_changed, ELSE),
    "colours turned": (colours_turned, ELSE),
    "profile changed": (profile_changed, "the catalog has another OutputIntents"),
    "page upside down": (lambda pdf: setattr(pdf.pages[0], "Rotate", 180), ELSE),
    "page cut": (lambda pdf: setattr(pdf.pages[0], "CropBox", Array([0, 0, 595, 400])), ENTRIES),
    "all pages cut": (
        lambda pdf: setattr(pdf.Root.Pages, "CropBox", Array([0, 0, 595, 400])),
        ENTRIES,
    ),
    "one page more": (lambda pdf: pdf.add_blank_page(page_size=(595, 842)), "pages"),
    "pages turned round": (lambda pdf: pdf.pages.reverse(), ELSE),
    "title": (
        lambda pdf: setattr(pdf.trailer.Info, "Title", String("All values within limits")),
        "the file has another title",
    ),
}


def forged(change: Change) -> bytes:
    return sealed(drawn(passing()), change)


@pytest.mark.parametrize("what", SHOWN)
def test_pages_that_show_something_else(desk: Desk, what: str) -> None:
    change, line = SHOWN[what]
    refused(desk.verify(forged(change)), line)


# ---------------------------------------------------------------- what is hidden


def script() -> Dictionary:
    return Dictionary(S=Name.JavaScript, JS=String("app.alert('compliant')"))


def noted(flags: int, page: int) -> Change:
    def change(pdf: Pdf) -> None:
        note = Dictionary(
            Type=Name.Annot,
            Subtype=Name.FreeText,
            Rect=Array([50, 700, 400, 760]),
            Contents=String("COMPLIANT"),
            DA=String("/Helv 20 Tf"),
            F=flags,
        )
        pdf.pages[page].Annots = Array([pdf.make_indirect(note)])

    return change


def layers(pdf: Pdf) -> None:
    group = pdf.make_indirect(Dictionary(Type=Name.OCG, Name=String("verdict")))
    shown = Dictionary(OFF=Array([group]))
    pdf.Root.OCProperties = Dictionary(OCGs=Array([group]), D=shown)


def form(pdf: Pdf) -> None:
    field = Dictionary(
        Type=Name.Annot,
        Subtype=Name.Widget,
        FT=Name.Tx,
        T=String("verdict"),
        V=String("compliant"),
        Rect=Array([10, 10, 200, 200]),
        F=4,
    )
    kept = pdf.make_indirect(field)
    pdf.Root.AcroForm = Dictionary(Fields=Array([kept]), NeedAppearances=True)
    pdf.pages[0].Annots = Array([kept])


def set_root(key: str, value: Callable[[Pdf], pikepdf.Object]) -> Change:
    return lambda pdf: pdf.Root.__setitem__(f"/{key}", value(pdf))


def scripts_of_the_document(pdf: Pdf) -> None:
    pdf.Root.Names.JavaScript = Dictionary(Names=Array([String("x"), script()]))


def above_the_pages(pdf: Pdf) -> None:
    shown = pdf.make_stream(
        b"compliant", Type=Name.XObject, Subtype=Name.Form, BBox=Array([0, 0, 1, 1])
    )
    pdf.Root.Pages.Resources = Dictionary(XObject=Dictionary(X=shown))


def metadata(pdf: Pdf) -> None:
    packet = pdf.Root.Metadata
    data = packet.read_bytes()
    packet.write(data.replace(b"<pdfaid:part>", b"<dc:rights>compliant</dc:rights><pdfaid:part>"))


def attributes_that_run(pdf: Pdf) -> None:
    element = next(
        each
        for each in pdf.objects
        if isinstance(each, Dictionary) and each.get("/S") == Name.TH and "/P" in each
    )
    element.A = Dictionary(O=Name.Table, Scope=Name.Row, **script())


CATALOG = "the catalog differs in"
HIDDEN: Mapping[str, tuple[Change, str]] = {
    "note": (noted(4, 0), "annotations"),
    "hidden note": (noted(2, 1), "annotations"),
    "layers": (layers, CATALOG),
    "form": (form, "page 1 has verdict, which does not belong there"),
    "opens with a script": (set_root("OpenAction", lambda _: script()), CATALOG),
    "opens elsewhere": (
        set_root("OpenAction", lambda pdf: Array([pdf.pages[1].obj, Name.Fit])),
        CATALOG,
    ),
    "script on closing": (set_root("AA", lambda _: Dictionary(WC=script())), CATALOG),
    "scripts of the document": (scripts_of_the_document, "names"),
    "script of a page": (
        lambda pdf: setattr(pdf.pages[0], "AA", Dictionary(O=script())),
        ENTRIES,
    ),
    "portfolio": (
        set_root("Collection", lambda _: Dictionary(View=Name.D, D=String("readings.csv"))),
        CATALOG,
    ),
    "packet": (metadata, "etadata"),
    "bookmark that runs": (
        lambda pdf: setattr(pdf.Root.Outlines.First, "A", script()),
        "has /A, as no sheet has",
    ),
    "attributes that run": (attributes_that_run, "has /A, as no sheet has"),
    "picture above the pages": (above_the_pages, "other entries than in a sheet"),
    "private data": (
        lambda pdf: setattr(pdf.pages[0], "PieceInfo", Dictionary(X=String("compliant"))),
        ENTRIES,
    ),
    "picture of a page": (
        lambda pdf: setattr(pdf.pages[0], "Thumb", pdf.make_stream(b"\0")),
        ENTRIES,
    ),
    "key of the trailer": (
        lambda pdf: pdf.trailer.__setitem__("/X", pdf.make_indirect(Dictionary(A=String("yes")))),
        "no sheet has",
    ),
}


# ---------------------------------------------------------------- where links lead


def link(pdf: Pdf) -> pikepdf.Object:
    return next(each for each in pdf.pages[0].Annots if each.Subtype == Name.Link)


def without_links(pdf: Pdf) -> None:
    kept = [each for each in pdf.pages[0].Annots if each.Subtype != Name.Link]
    pdf.pages[0].Annots = Array(kept)


def one_more_link(pdf: Pdf) -> None:
    """A copy of an honest one over the box of the signature."""
    copy = pdf.make_indirect(Dictionary(link(pdf)))
    copy.Rect = next(each for each in pdf.pages[0].Annots if each.Subtype != Name.Link).Rect
    pdf.pages[0].Annots = Array([*pdf.pages[0].Annots, copy])


def to_another_page(pdf: Pdf) -> None:
    link(pdf).Dest[0] = pdf.pages[2].obj


def to_the_web(pdf: Pdf) -> None:
    link(pdf).A = Dictionary(S=Name.URI, URI=String("https://compliant.example/"))


LINKS: Mapping[str, tuple[Change, str]] = {
    "none": (without_links, "page 1 has other links"),
    "one more": (one_more_link, "page 1 has other links"),
    "another page": (to_another_page, "page 1 has other links"),
    "the web": (to_the_web, "has /A, as no sheet has"),
}


@pytest.mark.parametrize("what", LINKS)
def test_links_that_lead_elsewhere(desk: Desk, what: str) -> None:
    change, line = LINKS[what]
    refused(desk.verify(forged(change)), line)


@pytest.mark.parametrize("what", HIDDEN)
def test_what_is_hidden_in_the_file(desk: Desk, what: str) -> None:
    change, line = HIDDEN[what]
    refused(desk.verify(forged(change)), line)


def test_an_object_that_nothing_uses(desk: Desk) -> None:
    """The reference to it is overwritten with spaces, before signing."""
    honest = drawn(passing())
    used = changed(honest.pdf, set_root("ZZ", lambda pdf: pdf.make_indirect(Dictionary(A=1))))
    unused = re.sub(rb"/ZZ \d+ 0 R", lambda found: b" " * len(found[0]), used)
    assert unused != used
    refused(desk.verify(sealed(replace(honest, pdf=unused))), "is used by nothing")


# ---------------------------------------------------------------- attachments


def of_readings(key: str, value: Callable[[Pdf], pikepdf.Object]) -> Change:
    return lambda pdf: pdf.attachments["readings.csv"].obj.__setitem__(f"/{key}", value(pdf))


def second_content(pdf: Pdf) -> None:
    files = pdf.attachments["readings.csv"].obj.EF
    files.F = pdf.make_stream(b"r,g,b,X,Y,Z\n", Type=Name.EmbeddedFile)


def one_file_more(pdf: Pdf) -> None:
    data = b"<h1>compliant</h1>"
    pdf.attachments["verdict.html"] = pikepdf.AttachedFileSpec(pdf, data, filename="verdict.html")


CANNOT = "fail attachments: cannot be read: "
OTHERWISE = "attachment readings.csv is described otherwise"
ATTACHED: Mapping[str, tuple[Change, str]] = {
    "description": (
        of_readings("Desc", lambda _: String("All values within their limits")),
        OTHERWISE,
    ),
    "related files": (of_readings("RF", lambda pdf: Dictionary(F=Array([String("x")]))), CANNOT),
    "collection": (of_readings("CI", lambda _: Dictionary(verdict=String("compliant"))), CANNOT),
    "relationship": (of_readings("AFRelationship", lambda _: Name.Alternative), OTHERWISE),
    "older name": (of_readings("F", lambda _: String("other.csv")), CANNOT),
    "second content": (second_content, CANNOT),
    "one more": (one_file_more, "fail attachments: "),
}


@pytest.mark.parametrize("what", ATTACHED)
def test_attachments_that_say_more(desk: Desk, what: str) -> None:
    change, line = ATTACHED[what]
    refused(desk.verify(forged(change)), line)


# ---------------------------------------------------------------- the signature


def box_of(honest: Unsigned) -> tuple[float, float]:
    _, x0, y0, x1, y1 = honest.boxes[FACILITY_FIELD]
    return x1 - x0, y1 - y0


@pytest.mark.parametrize("what", ["name", "time"])
def test_a_box_that_shows_somebody_else(desk: Desk, what: str) -> None:
    honest = drawn(passing())
    width, height = box_of(honest)
    signer = identity().signer
    shown = replace(signer, name="Bram Osterley") if what == "name" else signer
    when = SIGNED.replace(day=1) if what == "time" else SIGNED
    stamp = draw_stamp(shown, when, width=width, height=height)
    line = "the box of FacilitySignature shows something else than its signature states"
    refused(desk.verify(sealed(honest, appearance=stamp)), line)


def test_a_reason_that_is_none(desk: Desk) -> None:
    praised = replace(drawn(passing()), number="passed: all values within their limits")
    line = "the facility's signature states another reason or place"
    refused(desk.verify(sealed(praised)), line)


def test_pages_that_another_library_is_said_to_have_drawn(desk: Desk) -> None:
    def change(pdf: Pdf) -> None:
        painted_over(pdf)
        before = str(pdf.trailer.Info.Producer)
        after = before.replace("reportlab", "reportlub")
        pdf.trailer.Info.Producer = pdf.trailer.Info.Creator = String(after)
        packet = pdf.Root.Metadata
        packet.write(packet.read_bytes().replace(before.encode(), after.encode()))

    found = desk.verify(forged(change))
    refused(found, "Its pages were not compared with the evidence.", 3)
    assert "Valid" not in words(found)
