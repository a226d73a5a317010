"""A receiver of webhooks on this machine, with a certificate made for the test."""

import http.server
import ssl
import subprocess
import threading

import pytest

from shared.outgoing import webhook


class Receiver(http.server.BaseHTTPRequestHandler):
    """Keeps what is posted and answers what the test asks for."""

    def do_POST(self):
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.server.received.append((dict(self.headers), body.decode()))
        self.send_response(self.server.status)
        for name, value in self.server.headers.items():
            self.send_header(name, value)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *args):
        """Say nothing."""


@pytest.fixture(scope="module")
def certificate(tmp_path_factory):
    folder = tmp_path_factory.mktemp("tls")
    key, cert = folder / "key.pem", folder / "cert.pem"
    words = "req -x509 -newkey rsa:2048 -nodes -days 2 -subj /CN=localhost"
    words += f" -addext subjectAltName=DNS:localhost -keyout {key} -out {cert}"
    subprocess.run(["openssl", *words.split()], check=True, capture_output=True)
    return cert, key


@pytest.fixture
def receiver(certificate, settings):
    """Listen on localhost with a certificate the service trusts."""
    cert, key = certificate
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Receiver)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(cert, key)
    server.socket = context.wrap_socket(server.socket, server_side=True)
    server.received, server.status, server.headers = [], 204, {}
    server.url = f"https://localhost:{server.server_port}/hook"
    threading.Thread(target=server.serve_forever, daemon=True).start()
    settings.WEBHOOK_ALLOWED_NETWORKS = ["127.0.0.0/8", "::1/128"]
    settings.WEBHOOK_ALLOWED_PORTS = [server.server_port]
    settings.WEBHOOK_CA_FILE = str(cert)
    webhook.trust.cache_clear()
    yield server
    server.shutdown()
    server.server_close()
    webhook.trust.cache_clear()
