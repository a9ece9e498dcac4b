"""Nothing in a collection is ever run, and what is parsed from it can neither reach outside nor swell."""

from __future__ import annotations

import ast
import io
import re
import zipfile
from pathlib import Path

import openpyxl
import pytest

import surrogate
from surrogate.cli import main
from surrogate.description.sheet import read_sheet
from surrogate.errors import WrongUse
from surrogate.handover import alto

PACKAGE = Path(surrogate.__file__).parent
LOCKED = PACKAGE.parent / ".lock"

#: W3C XML 1.0 (fifth edition), 4.2.2 (external entities) and 4.4 (expansion); the "billion laughs" of CWE-776.
OUTSIDE = '<!DOCTYPE alto [<!ENTITY x SYSTEM "file://{path}">]><alto>&x;</alto>'
BOMB = (
    '<!DOCTYPE a [<!ENTITY a0 "ha">'
    + "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 12))
    + "]><a>&a11;</a>"
)


@pytest.mark.parametrize("content", [BOMB, OUTSIDE, "<alto", "<alto/>", "", "<!DOCTYPE a><alto/>"])
def test_a_text_that_is_no_alto_is_refused_and_recognised_again(content: str, tmp_path: Path) -> None:
    secret = tmp_path / "secret"
    secret.write_text("the key under the mat")
    file = tmp_path / "text.xml"
    file.write_text(content.replace("{path}", str(secret)))
    with pytest.raises(ValueError) as problem:
        alto.read(file)
    assert "mat" not in str(problem.value)
    assert alto.read_if_whole(file) is None


def test_a_workbook_whose_xml_swells_or_reaches_out_is_refused_in_one_sentence(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(["file", "title"])
    book.active.append(["a.jpg", "A"])
    buffer = io.BytesIO()
    book.save(buffer)
    for part in ("xl/worksheets/sheet1.xml", "xl/workbook.xml"):
        target = tmp_path / "sheet.xlsx"
        with zipfile.ZipFile(buffer) as whole, zipfile.ZipFile(target, "w") as hostile:
            for name in whole.namelist():
                content = whole.read(name).decode()
                if name == part:
                    head, _, rest = content.rpartition("?>")
                    bomb = BOMB.split("]>", 1)[0].replace("<!DOCTYPE a ", "<!DOCTYPE worksheet ") + "]>"
                    content = f"{head}?>{bomb}{rest}" if head else bomb + rest
                    content = content.replace("<v>", "<v>&a11;", 1).replace("<sheets>", "<sheets>&a11;", 1)
                hostile.writestr(name, content)
        with pytest.raises(WrongUse, match="not a spreadsheet"):
            read_sheet(target)


def test_no_module_runs_what_it_reads() -> None:
    forbidden = {"eval", "exec", "compile", "__import__"}
    for path in sorted(PACKAGE.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.Call):
                name = node.func.id if isinstance(node.func, ast.Name) else ""
                assert name not in forbidden, f"{path.name}, line {node.lineno}: {name}"
                for keyword in node.keywords:
                    allowed = isinstance(keyword.value, ast.Constant) and keyword.value.value is False
                    assert keyword.arg not in {"shell", "allow_pickle"} or allowed, f"{path.name}, line {node.lineno}"
            names = {alias.name for alias in node.names} if isinstance(node, ast.Import) else set()
            assert not names & {"yaml", "marshal", "shelve", "dill"}, path.name
            if "pickle" in names:  # errors of its own children, and words to them
                assert path.name in {"crew.py", "cluster.py"}


def test_a_hostile_collection_is_only_read(own_demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = own_demo / "it ran"
    (own_demo / ".ExifTool_config").write_text(f"open(F, '>', '{run}');\n")  # ExifTool's settings are Perl
    for name in ("sitecustomize.py", "surrogate.py", "conftest.py"):
        (own_demo / name).write_text(f"open({str(run)!r}, 'w')\n")
    recipe = next(own_demo.glob("recipes/*/*_viewing.json"))
    recipe.write_text('{"__reduce__": ["os.system", "touch it"], "steps": [{"type": "exec"}]}')
    for command in (["audit"], ["rebuild"]):
        assert main([*command, str(own_demo)]) == 1
        assert "Traceback" not in capsys.readouterr().err
    assert not run.exists()


def test_what_users_install_is_locked_with_its_checksums() -> None:
    for file in ("run.txt", "all.txt"):
        text = (LOCKED / file).read_text()
        entries = [entry for entry in re.split(r"\n(?=[A-Za-z0-9])", text) if not entry.startswith("#")]
        assert len(entries) > 30
        for entry in entries:
            # name, extras (PEP 508), exact version
            assert re.match(r"[A-Za-z0-9._-]+(\[[a-z0-9,._-]+\])?==[^ ]+", entry), entry[:60]
            assert "--hash=sha256:" in entry, entry[:60]
