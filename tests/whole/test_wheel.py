"""A checkout without the type checker's links builds a wheel of `siltbook` alone, which runs."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SETUPTOOLS = 77  # as pyproject.toml asks
CODE = """
import sys, siltbook
assert siltbook.__file__.startswith(sys.argv[1]), siltbook.__file__
from siltbook.batch.cli import main
sys.argv = ["siltbook", "run", sys.argv[2], "--out", sys.argv[3]]
main()
"""


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Built without the network, from a copy that has no link."""
    try:
        have = int(version("setuptools").split(".")[0])
    except PackageNotFoundError:
        have = 0
    if have < SETUPTOOLS:
        pytest.skip(f"setuptools {SETUPTOOLS} is not installed; building would need the network")
    copy = tmp_path_factory.mktemp("checkout")
    for folder in ("batch", "checks", "templates"):
        shutil.copytree(ROOT / folder, copy / folder, ignore=shutil.ignore_patterns("__pycache__"))
    (copy / "src" / "siltbook").mkdir(parents=True)
    for file in (ROOT / "src" / "siltbook").iterdir():
        if file.is_file() and not file.is_symlink():
            shutil.copy(file, copy / "src" / "siltbook")
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, copy)
    out = copy / "dist"
    build = "import os, sys, setuptools.build_meta as b; os.makedirs('dist'); b.build_wheel('dist')"
    done = subprocess.run([sys.executable, "-c", build], cwd=copy, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    (made,) = out.glob("*.whl")
    return made


def test_the_wheel_holds_only_siltbook(wheel: Path) -> None:
    names = zipfile.ZipFile(wheel).namelist()
    own = f"{wheel.name.split('-py3')[0]}.dist-info"
    assert {name.split("/")[0] for name in names} == {"siltbook", own}
    have = {name for name in names if name.endswith(".py")}
    for folder in ("batch", "checks", "templates"):
        for file in (ROOT / folder).rglob("*.py"):
            assert f"siltbook/{file.relative_to(ROOT).as_posix()}" in have, file
    assert {"siltbook/py.typed", "siltbook/templates/siltbook-blank-bar.xlsx"} <= set(names)
    assert any(name.endswith("licenses/LICENSE") for name in names)


def test_the_wheel_installs_and_runs(wheel: Path, tmp_path: Path) -> None:
    target, out = tmp_path / "site", tmp_path / "results"
    with zipfile.ZipFile(wheel) as package:
        package.extractall(target)  # what installing a pure wheel comes to
    book = ROOT / "sample_workbooks" / "twelve-stations.xlsx"
    done = subprocess.run(
        [sys.executable, "-c", CODE, str(target), str(book), str(out)],
        env={**os.environ, "PYTHONPATH": str(target)}, cwd=tmp_path, capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert (out / "twelve-stations.reviewed.xlsx").stat().st_size > 50_000
