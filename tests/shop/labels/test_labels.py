import io
from datetime import date

import pytest

from shared.codes.finding import code_of
from shared.errors import Invalid
from shop.core.gs1_label import read_label
from shop.labels.codes import gs1_text
from shop.labels.layouts import LAYOUTS
from shop.labels.pdf import can_label, labels_pdf
from shop.lots.models import Container
from shop.materials.camera import read_codes
from shop.materials.models import Pack
from tests.factories.shop import make_container, make_lot, make_material, make_supplier

pytestmark = pytest.mark.django_db


def labelled(site, gtin="09506000134352", code="LOT-7A", **material):
    supplier, stuff = make_supplier(), make_material(open_life_days=30, **material)
    Pack.objects.create(
        material=stuff, supplier=supplier, name="pail", content=25, price=1, gtin=gtin
    )
    lot = make_lot(site, stuff, supplier=supplier, code=code, expires_on=date(2027, 6, 30))
    made = make_container(lot, holds=1)
    return Container.objects.select_related("lot__material", "location").get(pk=made.pk)


def address(container):
    return f"https://shop.example/c/{code_of('can', container.pk)}"


def label(container):
    return can_label(container, "https://shop.example")


def picture_of(pdf, page=0):
    """Draw a page of a PDF with an independent program's library, from the images in it."""
    import pypdf

    return [image.image for image in pypdf.PdfReader(io.BytesIO(pdf)).pages[page].images]


def test_both_codes_on_a_label_are_read_back_by_a_decoder(site):
    import zxingcpp

    container = labelled(site)
    pdf = labels_pdf([label(container)], LAYOUTS["roll-100x50"])
    found = [
        code
        for picture in picture_of(pdf)
        for code in zxingcpp.read_barcodes(picture.convert("L"))
    ]
    texts = {str(code.format): bytes(code.bytes).decode() for code in found}
    assert texts["QR Code"] == address(container)
    read = read_label(texts["Data Matrix"], date(2026, 11, 25))
    assert (read.gtin, read.lot) == ("09506000134352", "LOT-7A")
    assert read.usable_until == date(2027, 6, 30)


@pytest.mark.parametrize("name", LAYOUTS)
def test_every_size_holds_its_labels_inside_the_page(site, name):
    import pypdf

    layout = LAYOUTS[name]
    container = labelled(site, name="Very long name of a filled tooling resin, slow, µ and ü")
    pdf = labels_pdf([label(container)] * (layout.on_a_page + 1), layout)
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    assert len(pages) == 2
    assert float(pages[0].mediabox.width) == pytest.approx(layout.page_mm[0] / 25.4 * 72, abs=0.1)
    x, y = layout.corner_mm(layout.on_a_page - 1)
    assert x + layout.label_mm[0] <= layout.page_mm[0] + 0.01
    assert y + layout.label_mm[1] <= layout.page_mm[1] + 0.01
    assert "Use by 2027-06-30" in pages[0].extract_text()


@pytest.mark.parametrize(
    ("gtin", "code"),
    [
        pytest.param("", "LOT-7A", id="no item number"),
        pytest.param("09506000134353", "LOT-7A", id="a wrong check digit"),
        pytest.param("09506000134352", "LOT (7A)", id="brackets in the lot"),
        pytest.param("09506000134352", "A" * 21, id="a lot longer than GS1 allows"),
    ],
)
def test_no_gs1_code_is_printed_that_would_be_wrong(site, gtin, code):
    assert gs1_text(labelled(site, gtin, code)) is None


def test_a_begun_sheet_and_limits(site):
    container = labelled(site)
    pdf = labels_pdf([label(container)], LAYOUTS["a4-21"], first_place=21)
    assert pdf.startswith(b"%PDF")
    with pytest.raises(Invalid, match="first_place is 22"):
        labels_pdf([label(container)], LAYOUTS["a4-21"], first_place=22)
    with pytest.raises(Invalid, match="0 labels are asked; print 1 to 500"):
        labels_pdf([], LAYOUTS["a4-21"])


def test_labels_by_page(browser_of, site):
    container = labelled(site)
    client = browser_of("technician")
    assert container.code in client.get("/stock/labels/").content.decode()
    query = {"container": container.pk, "layout": "roll-57x32"}
    pdf = client.get("/stock/labels/labels.pdf", query)
    assert pdf.content.startswith(b"%PDF")
    refused = client.get("/stock/labels/labels.pdf", query | {"layout": "huge"})
    assert refused.status_code == 422


def photo(picture):
    from django.core.files.uploadedfile import SimpleUploadedFile

    out = io.BytesIO()
    picture.convert("RGB").resize((picture.width * 2, picture.height * 2)).save(out, "PNG")
    return SimpleUploadedFile("label.png", out.getvalue())


def test_a_photo_of_our_own_label_is_read(site):
    container = labelled(site)
    pictures = picture_of(labels_pdf([label(container)], LAYOUTS["roll-100x50"]))
    read = {text for picture in pictures for text in read_codes(photo(picture))}
    assert address(container) in read
    assert any(text.startswith("]d2010950") for text in read)


@pytest.mark.parametrize("data", [b"", b"no picture", b"\x89PNG\r\n\x1a\n"])
def test_what_is_no_photo_is_refused(data):
    from django.core.files.uploadedfile import SimpleUploadedFile

    with pytest.raises(Invalid, match="no photo that can be read"):
        read_codes(SimpleUploadedFile("x.png", data))
