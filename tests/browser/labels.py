"""Labels as the shop prints them, as a camera sees them: 203 dpi, out of focus and turned."""

import subprocess
from pathlib import Path

import numpy as np
from PIL import Image, ImageFilter

from shop.labels.layouts import LAYOUTS
from shop.labels.pdf import can_label, labels_pdf
from shop.lots.models import Container

PRINTER_DPI = 203
ELSEWHERE = "http://10.20.30.40:8000"
"""The address that the labels were printed under; the shop has moved since."""
BLUR_PX = 1.2
TURNED = (0, 90, 12, -31, 187)
"""Degrees; a label is held as it comes to hand."""


def printed(label, folder: Path, turned: float = 0, blur: float = BLUR_PX) -> Image.Image:
    """Draw a label as a printer of 203 dpi does, out of focus and turned, on a grey bench."""
    pdf = folder / "label.pdf"
    pdf.write_bytes(labels_pdf([label], LAYOUTS["roll-57x32"]))
    drawn = folder / "label"
    subprocess.run(
        ["pdftoppm", "-r", str(PRINTER_DPI), "-png", "-singlefile", pdf, drawn], check=True
    )
    return on_the_bench(Image.open(drawn.with_suffix(".png")).convert("L"), turned, blur)


def on_the_bench(flat: Image.Image, turned: float, blur: float = BLUR_PX) -> Image.Image:
    """Lay what was printed on a grey bench, turned, and see it out of focus."""
    bench = Image.new("L", (640, 480), 150)
    turn = flat.rotate(turned, expand=True, fillcolor=150, resample=Image.Resampling.BICUBIC)
    bench.paste(turn, ((640 - turn.width) // 2, (480 - turn.height) // 2))
    return bench.filter(ImageFilter.GaussianBlur(blur))


def label_of(container) -> object:
    full = Container.objects.select_related("lot__material", "location").get(pk=container.pk)
    return can_label(full, ELSEWHERE)


def before_the_camera(picture: Image.Image, path: Path) -> None:
    """Write a picture as the film that Chromium's made-up camera shows."""
    rows = np.asarray(picture.convert("L"))
    plane = np.full((rows.shape[0] // 2, rows.shape[1] // 2), 128, np.uint8).tobytes()
    frame = b"FRAME\n" + rows.tobytes() + plane + plane
    head = f"YUV4MPEG2 W{picture.width} H{picture.height} F5:1 Ip A1:1 C420jpeg\n"
    path.write_bytes(head.encode() + frame * 3)


def printed_sheet(batch, folder: Path, turned: float = 0) -> Image.Image:
    """Draw the code of a batch as it stands on the day's paper, seen as a label is."""
    from planning.batch_sheets.pdf import sheet_pdf
    from planning.batch_sheets.queries import sheet
    from shared import clock

    day = clock.local(batch.planned_start, batch.site).date()
    pdf = folder / "sheet.pdf"
    pdf.write_bytes(sheet_pdf(sheet(site=batch.site, day=day), address=ELSEWHERE))
    drawn = folder / "sheet"
    corner = ["-x", "1380", "-y", "60", "-W", "260", "-H", "260"]
    subprocess.run(
        ["pdftoppm", "-r", str(PRINTER_DPI), "-f", "2", "-l", "2", *corner, "-png",
         "-singlefile", pdf, drawn],
        check=True,
    )  # fmt: skip
    return on_the_bench(Image.open(drawn.with_suffix(".png")).convert("L"), turned)
