"""
A plain page that tells a phone how to trust the shop, with the authority's certificate.

It is served over http, because a phone that does not trust the shop yet can't read it over https.
It knows nothing of the shop: two files and no more. Run as a program with a folder and a port.
"""

from __future__ import annotations

import html
import sys
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Trust the shop</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<style>body{{font:17px/1.5 sans-serif;max-width:40rem;margin:0 auto;padding:1rem}}
a{{display:inline-block;padding:.7rem 1rem;border:2px solid;font-weight:700}}
code{{word-break:break-all}}</style></head><body>
<h1>Let this phone trust the shop</h1>
<p>The camera, and pages that go on without a network, need a connection that is encrypted. The
shop signs it itself. Do this once on each phone.</p>
<ol>
<li><a href="/authority.crt">Fetch the shop's certificate</a></li>
<li>Open the settings of the phone and install it. On some phones it waits under "Profile
downloaded"; afterwards switch it on under General, About, Certificate trust settings. On others
it is under Security, Encryption and credentials, Install a certificate, CA certificate; choose
the file just fetched.</li>
<li>Compare the fingerprint that the phone shows with the one that the shop's computer has written
in its window, pair by pair: <code>{fingerprint}</code>. If they differ, remove it again and ask
whoever runs the shop's computer.</li>
<li><a href="{shop}">Open the shop</a></li>
</ol>
<p>The certificate is good for addresses of local networks only. Remove it from the phone when it
leaves the shop for good.</p>
</body></html>
"""


def write_page(folder: Path, fingerprint: str, shop: str) -> None:
    """Write the page for the shop's address."""
    words = PAGE.format(fingerprint=html.escape(fingerprint), shop=html.escape(shop, quote=True))
    (folder / "trust.html").write_text(words, encoding="utf-8")


class Trusting(BaseHTTPRequestHandler):
    """Answers with the page, or the certificate, and nothing else."""

    timeout = 10
    folder = Path()

    def do_GET(self) -> None:
        """Serve one of the two files."""
        if self.path == "/authority.crt":
            self._send("authority.crt", "application/x-x509-ca-cert")
        elif self.path in ("/", "/favicon.ico"):
            self._send("trust.html", "text/html; charset=utf-8")
        else:
            self.send_error(404)

    def _send(self, name: str, kind: str) -> None:
        data = (self.folder / name).read_bytes()
        self.send_response(200)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(data)))
        self.send_header("Cache-Control", "no-store")
        self.end_headers()
        self.wfile.write(data)

    def log_message(self, format: str, *args: object) -> None:
        """Say nothing of each visit."""


def serve(folder: Path, host: str, port: int) -> None:
    """Serve until the process is ended."""
    handler = type("Handler", (Trusting,), {"folder": folder})
    ThreadingHTTPServer((host, port), handler).serve_forever()


if __name__ == "__main__":
    serve(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]))
