"""Turn a drawn PDF into an archival one that can be read aloud, with attachments.

PDF/A-3a (ISO 19005-3) and PDF/UA-1 (ISO 14289-1). Adds what the drawing library leaves out: the
output intent with its colour profile, the XMP packet, the associated files, the structure tree.
The same input gives the same bytes.

`srgb.icc` was made with Little CMS; its copyright tag reads "no copyright, use
freely".
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from importlib.resources import files
from io import BytesIO
from xml.sax.saxutils import escape

import pikepdf
from pikepdf import Array, AttachedFileSpec, Dictionary, Name, ObjectStreamMode, Pdf

from compliance import __version__
from compliance.pictures.pdf_canvas import LIBRARY
from compliance.pictures.structure import Structure
from compliance.sheet.compact import compacted
from compliance.sheet.structure_tree import Field, write_structure

Attachment = tuple[bytes, str, str]
"""Content, MIME type and description."""

PRODUCER = f"deliverable-compliance {__version__} ({LIBRARY}, pikepdf {pikepdf.__version__})"
"""The program and its libraries: others may draw the same sheet slightly differently."""
CONDITION = "sRGB IEC61966-2.1"
SOURCES = ("readings", "before")
"""Stems of attachments that the sheet was computed from; the others are related data."""

PACKET = """<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about=""
 xmlns:dc="http://purl.org/dc/elements/1.1/"
 xmlns:pdf="http://ns.adobe.com/pdf/1.3/"
 xmlns:pdfaid="http://www.aiim.org/pdfa/ns/id/"
 xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/"
 xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#"
 xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#"
 xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/"
 xmlns:xmp="http://ns.adobe.com/xap/1.0/">
<dc:format>application/pdf</dc:format>
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>
<dc:description><rdf:Alt><rdf:li xml:lang="x-default">{subject}</rdf:li></rdf:Alt></dc:description>
<dc:creator><rdf:Seq><rdf:li>{author}</rdf:li></rdf:Seq></dc:creator>
<pdf:Producer>{producer}</pdf:Producer>
<xmp:CreatorTool>{producer}</xmp:CreatorTool>
<xmp:CreateDate>{created}</xmp:CreateDate>
<xmp:ModifyDate>{created}</xmp:ModifyDate>
<pdfaid:part>3</pdfaid:part>
<pdfaid:conformance>A</pdfaid:conformance>
<pdfuaid:part>1</pdfuaid:part>
<pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType="Resource">
<pdfaSchema:schema>PDF/UA identification schema</pdfaSchema:schema>
<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>
<pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>
<pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType="Resource">
<pdfaProperty:name>part</pdfaProperty:name>
<pdfaProperty:valueType>Integer</pdfaProperty:valueType>
<pdfaProperty:category>internal</pdfaProperty:category>
<pdfaProperty:description>Part of ISO 14289 that the file conforms to</pdfaProperty:description>
</rdf:li></rdf:Seq></pdfaSchema:property>
</rdf:li></rdf:Bag></pdfaExtension:schemas>
</rdf:Description>
</rdf:RDF>
</x:xmpmeta>
<?xpacket end="w"?>
"""


def archival(
    pdf: bytes,
    *,
    title: str,
    subject: str,
    author: str,
    attachments: Mapping[str, Attachment],
    created: datetime,
    structure: Structure,
    fields: Mapping[str, Field],
) -> bytes:
    """Make a drawn PDF archival and attach the files, by name.

    `created` (aware) is the only time in the file; `structure` is what was drawn, `fields` are
    for signatures, by name. Every font of `pdf` must be embedded already; this cannot be done here.
    """
    moment = created.astimezone(UTC).replace(microsecond=0)
    with Pdf.open(BytesIO(pdf)) as document:
        for page in document.pages:
            # An empty transparency group; a strict reader sees a group without a type.
            if Name.Trans in page:
                del page.Trans
        for name in sorted(attachments):
            document.attachments[name] = _associated(document, name, attachments[name], moment)
        _describe(document, title, subject, author, moment)
        _intend_srgb(document)
        write_structure(document, structure, fields)
        out = BytesIO()
        document.save(
            out,
            deterministic_id=True,
            fix_metadata_version=False,
            force_version="1.7",
            object_stream_mode=ObjectStreamMode.disable,
            recompress_flate=False,
        )
    return compacted(out.getvalue())


def _associated(
    document: Pdf, name: str, attachment: Attachment, moment: datetime
) -> AttachedFileSpec:
    data, mime, description = attachment
    stamp = _pdf_date(moment)
    return AttachedFileSpec(
        document,
        data,
        filename=name,
        description=description,
        mime_type=mime,
        relationship=Name.Source if name.partition(".")[0] in SOURCES else Name.Data,
        creation_date=stamp,
        mod_date=stamp,
    )


def _describe(document: Pdf, title: str, subject: str, author: str, moment: datetime) -> None:
    """Write the same to the XMP packet and to the older information dictionary."""
    packet = PACKET.format(
        title=escape(title),
        subject=escape(subject),
        author=escape(author),
        producer=escape(PRODUCER),
        created=moment.strftime("%Y-%m-%dT%H:%M:%S+00:00"),
    )
    document.Root.Metadata = document.make_stream(
        packet.encode(), Type=Name.Metadata, Subtype=Name.XML
    )
    stamp = _pdf_date(moment)
    document.trailer.Info = document.make_indirect(
        Dictionary(
            Title=title,
            Subject=subject,
            Author=author,
            Creator=PRODUCER,
            Producer=PRODUCER,
            CreationDate=stamp,
            ModDate=stamp,
        )
    )


def _intend_srgb(document: Pdf) -> None:
    """State that the file's RGB colours are sRGB."""
    profile = document.make_stream(files("compliance.sheet").joinpath("srgb.icc").read_bytes(), N=3)
    intent = Dictionary(
        Type=Name.OutputIntent,
        S=Name.GTS_PDFA1,
        OutputConditionIdentifier=pikepdf.String(CONDITION),
        Info=pikepdf.String(CONDITION),
        DestOutputProfile=profile,
    )
    document.Root.OutputIntents = Array([document.make_indirect(intent)])


def _pdf_date(moment: datetime) -> str:
    return moment.strftime("D:%Y%m%d%H%M%S+00'00'")
