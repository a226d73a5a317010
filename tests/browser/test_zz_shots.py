import pytest
from tests.planning.workbench.test_pages import LINKS
from urllib.parse import urlencode
@pytest.mark.parametrize("width",[1280,390])
def test_shots(open_page, sign_in, shop, width):
    page=open_page(width)
    sign_in(page,"tess")
    page.goto("/workbench/"); page.screenshot(path=f"/tmp/phys/shots/index-{width}.png",full_page=True)
    for name,q in LINKS.items():
        page.goto(f"/workbench/{name}/?"+urlencode(q))
        page.screenshot(path=f"/tmp/phys/shots/{name}-{width}.png",full_page=True)
        w=page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        print(name,width,w)
