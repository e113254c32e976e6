"""The dossier as a file to keep: what PDF/A-3 asks of its structure."""

from __future__ import annotations

import hashlib
import itertools
import re
from xml.etree import ElementTree

import pypdfium2
import pytest
import zxingcpp

from batches.models import Batch
from quality.documents.dossier import dossier_pdf
from tests import make
from tests.quality.pdf_objects import Thing, objects

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]


@pytest.fixture
def printed(crew: make.Crew) -> tuple[Batch, bytes]:
    """Return a batch of three signatures with its dossier."""
    lot = make.filled(crew)
    batch = make.signed(crew.reviewer, make.fresh(lot.batch), "hold", "unhold")
    return batch, dossier_pdf(batch, printed_by="Aune Koski")


def only(things: dict[int, Thing], kind: str) -> list[Thing]:
    return [x for x in things.values() if x.value("Type") == f"/{kind}".encode()]


def test_it_has_what_pdf_a_3_asks_of_a_structure(printed: tuple[Batch, bytes]) -> None:
    """ISO 19005-3, from memory, as far as can be looked at without a validator."""
    _, pdf = printed
    things = objects(pdf)
    assert pdf.startswith(b"%PDF-1.7\n%")
    assert all(byte > 127 for byte in pdf[10:14])  # a comment of bytes above 127
    (catalog,), (trailer,) = only(things, "Catalog"), only(things, "XRef")
    assert re.search(rb"/ID *\[ *(<\w+>|\(.+?\)) *(<\w+>|\(.+?\))", trailer.words)
    assert b"/Encrypt" not in trailer.words
    assert b"/Lang (en)" in catalog.words
    assert b"/GTS_PDFA1" in catalog.words
    profile = things[catalog.reference("DestOutputProfile")]
    assert profile.value("N") == b"3"
    assert profile.stream[36:40] == b"acsp"  # the signature of an ICC profile
    every = b" ".join(thing.words for thing in things.values())
    for banned in (b"/JavaScript", b"/JS ", b"/Launch", b"/URI", b"/Encrypt"):
        assert banned not in every
    assert not re.search(rb"/Interpolate\s+true", every)


def test_its_metadata_names_the_standard_and_agrees_with_itself(
    printed: tuple[Batch, bytes],
) -> None:
    batch, pdf = printed
    things = objects(pdf)
    (catalog,), (trailer,) = only(things, "Catalog"), only(things, "XRef")
    text = things[catalog.reference("Metadata")].stream
    info = things[trailer.reference("Info")].words
    packet = text[text.index(b"<x:xmpmeta") :].split(b"<?xp")[0]
    tree = ElementTree.fromstring(packet)  # noqa: S314 - written by ourselves
    ours = "{http://www.aiim.org/pdfa/ns/id/}"
    (about,) = (x for x in tree.iter() if f"{ours}part" in x.attrib)
    assert (about.get(f"{ours}part"), about.get(f"{ours}conformance")) == ("3", "B")
    title = f"Dossier of batch {batch.number}"
    assert title in {x.text for x in tree.iter()}
    assert f"/Title ({title})".encode() in info
    created = next(x.text or "" for x in tree.iter() if x.tag.endswith("CreateDate"))
    stamp = re.sub(r"[-:T]", "", created[:19])
    assert f"/CreationDate (D:{stamp}".encode() in info


def test_every_font_is_inside(printed: tuple[Batch, bytes]) -> None:
    things = objects(printed[1])
    described = only(things, "FontDescriptor")
    assert len(described) >= 3
    for font in described:
        assert things[font.reference("FontFile2")].stream
    fonts = [x for x in only(things, "Font") if x.value("Subtype") == b"/Type0"]
    assert len(fonts) == len(described)
    assert all(things[font.reference("ToUnicode")].stream for font in fonts)


def test_the_signed_records_lie_inside_to_the_byte(
    printed: tuple[Batch, bytes],
) -> None:
    batch, pdf = printed
    things = objects(pdf)
    signatures = list(batch.signatures.order_by("pk"))
    files = only(things, "Filespec")
    assert len(signatures) == len(files) == 3
    (catalog,) = only(things, "Catalog")
    listed = re.search(rb"/AF *\[(.*?)\]", catalog.words)
    assert listed
    assert len(re.findall(rb"\d+ 0 R", listed.group(1))) == 3
    for signature, file in zip(signatures, files, strict=True):
        name = f"signature-{signature.pk}-{signature.meaning}.json".encode()
        assert b"/F (" + name + b")" in file.words
        assert b"/UF (" + name + b")" in file.words
        assert b"/AFRelationship /Source" in file.words
        enclosed = things[file.reference("F")]
        assert enclosed.value("Subtype") == b"/application#2fjson"
        assert hashlib.sha256(enclosed.stream).hexdigest() == signature.record_sha256


def test_the_hash_of_each_signature_can_be_scanned(
    printed: tuple[Batch, bytes],
) -> None:
    batch, pdf = printed
    document = pypdfium2.PdfDocument(pdf)
    seen = set(
        itertools.chain.from_iterable(
            (code.text for code in zxingcpp.read_barcodes(page.render(3).to_pil()))
            for page in document
        )
    )
    hashes = {row.record_sha256 for row in batch.signatures.all()}
    assert len(hashes) == 3
    assert seen == hashes  # the specimen of the label leads nowhere


# ------------------------------------------------------------------ the page
