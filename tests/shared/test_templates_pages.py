"""The frame of every page and its parts keep the strict policy and can be read by a machine."""

import re
from decimal import Decimal
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import pytest
from django import forms
from django.contrib.auth.models import AnonymousUser
from django.template import engines
from django.template.loader import render_to_string
from django.test import RequestFactory

ROOT = Path(__file__).resolve().parents[2]
TEMPLATES = sorted(
    path
    for app in ("shared", "shop", "planning")
    for path in (ROOT / app).rglob("templates/**/*.html")
)


class Inline(HTMLParser):
    """Collects what the policy would refuse."""

    def __init__(self):
        super().__init__()
        self.found = []

    def handle_starttag(self, tag, attrs):
        names = dict(attrs)
        if tag == "style" or (tag == "script" and "src" not in names):
            self.found.append(tag)
        self.found += [
            f"{tag} {name}" for name in names if re.fullmatch(r"style|on[a-z]{3,}", name)
        ]
        for name in ("src", "href", "action"):
            if re.match(r"(https?:)?//|javascript:", names.get(name) or ""):
                self.found.append(f"{tag} {name}")


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda p: str(p.relative_to(ROOT)))
def test_no_template_carries_what_the_policy_refuses(path):
    inline = Inline()
    inline.feed(path.read_text())
    assert inline.found == []


def test_the_check_above_sees_inline_styles_scripts_and_foreign_addresses():
    inline = Inline()
    inline.feed(
        '<p style="a">x</p><script>1</script><a onclick="b" href="//x.example/">y</a>'
        "<style></style>"
    )
    assert inline.found == ["p style", "script", "a onclick", "a href", "style"]


def page(source, **context):
    request = RequestFactory().get("/somewhere/")
    request.user = AnonymousUser()
    return engines["django"].from_string(source).render(context, request)


def test_a_page_has_one_headline_a_language_and_a_way_past_the_menu():
    html = page('{% extends "base.html" %}{% block headline %}Stock{% endblock %}')
    assert '<html lang="en">' in html
    assert re.findall(r"<h1>(.*?)</h1>", html) == ["Stock"]
    assert 'href="#main"' in html
    assert '<main id="main"' in html
    assert "Follow the safety data sheet" in html


def test_a_state_has_a_sign_and_a_word():
    html = page('{% load parts %}{% state "held" %}{% state "solving" "Being worked out" %}')
    assert ">✕</span> Held<" in html
    assert ">▶</span> Being worked out<" in html


def test_cautions_show_each_statement_and_defer_to_the_data_sheet():
    html = page('{% load parts %}{% cautions codes "Danger" "folder 3" %}', codes=["H317", "H314"])
    assert "Danger: Cautions" in html
    assert "H314 Causes severe skin burns and eye damage." in html
    assert "safety data sheet (folder 3), local rules and trained people" in html
    assert "does not mean there is no hazard" in page(
        "{% load parts %}{% cautions codes %}", codes=[]
    )


def dark_modules(path):
    """Walk a path of horizontal strokes: M x y, m dx dy, h length."""
    x = y = 0.0
    found = set()
    for verb, numbers in re.findall(r"([Mmh])([^Mmh]*)", path):
        values = [float(n) for n in re.findall(r"-?[\d.]+", numbers)]
        if verb == "h":
            found |= {(int(x) + i, int(y)) for i in range(int(values[0]))}
            x += values[0]
        else:
            x, y = values if verb == "M" else (x + values[0], y + values[1])
    return found


def test_a_code_to_scan_is_read_back_by_another_library():
    import zxingcpp
    from PIL import Image

    text = "http://127.0.0.1:8000/batches/7/"
    html = page('{% load parts %}{% qr text "Batch 7" %}', text=text)
    assert html.startswith('<svg role="img"')
    assert "<title>Batch 7</title>" in html
    assert "http" not in re.sub(r'xmlns="[^"]*"', "", html)
    strokes = re.search(r'<path[^>]*stroke="#000"[^>]*d="([^"]+)"', html) or re.search(
        r'<path[^>]*d="([^"]+)"[^>]*stroke="#000"', html
    )
    drawn = Image.new("L", (60, 60), 255)
    for spot in dark_modules(strokes.group(1)):
        drawn.putpixel(spot, 0)
    assert (
        zxingcpp.read_barcodes(drawn.resize((360, 360), Image.Resampling.NEAREST))[0].text == text
    )


def test_a_form_names_the_field_the_value_and_the_limit():
    class Receipt(forms.Form):
        kg = forms.DecimalField(
            max_value=25,
            error_messages={"max_value": "kg is %(show_value)s kg; enter 25 kg or less."},
        )

    html = page(
        '{% include "parts/form.html" with button="Receive" %}', form=Receipt({"kg": "412"})
    )
    assert "kg is 412 kg; enter 25 kg or less." in html
    assert 'aria-invalid="true"' in html
    assert 'for="id_kg"' in html
    assert "Nothing was changed" in html
    assert "csrf" in html


def test_a_refusal_lists_every_bad_field():
    problem = SimpleNamespace(
        message="Two fields are not valid.",
        problems=[SimpleNamespace(detail="kg is -1 kg."), SimpleNamespace(detail="lot is empty.")],
    )
    html = page('{% include "parts/problem.html" %}', problem=problem)
    assert "kg is -1 kg." in html
    assert "lot is empty." in html
    assert 'role="alert"' in html


def test_text_from_people_is_escaped():
    html = page(
        "{% load parts %}{% state code code %}"
        '{% include "parts/figure.html" with label=code value=kg %}',
        code="<script>x</script>",
        kg=Decimal(1),
    )
    assert "<script>" not in html


@pytest.mark.parametrize("name", ["400.html", "403.html", "404.html", "500.html"])
def test_error_pages_render_without_a_request(name):
    html = render_to_string(name)
    assert "<h1>" in html
    assert f"Code {name[:3]}" in html
