"""The schemas are current and well formed, and take and refuse what recon itself takes and refuses.

Outside check: JSON Schema 2020-12 by the meta-schema that the package jsonschema carries.
"""

import importlib.util
import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import jsonschema
import pytest
from schema_files import LAYOUT, MODELS, ROUTE, SAMPLES, SCHEMAS, SOURCE, TOP, faults, read, recon_takes, toml_faults
from typer.testing import CliRunner

from recon.cli.main import app
from recon.model.learn_results import LearnResults
from recon.model.results import Results

JSON_SCHEMAS = sorted(SCHEMAS.glob("*.schema.json"))


@pytest.fixture(scope="module")
def build() -> Iterator[ModuleType]:
    sys.path.insert(0, str(SCHEMAS))
    spec = importlib.util.spec_from_file_location("schemas_build", SCHEMAS / "build.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    yield module
    sys.path.remove(str(SCHEMAS))


# Current and well formed


def test_the_schemas_are_current(build: ModuleType) -> None:
    made = {name: build.text(schema) for name, schema in build.schemas().items()}
    there = {path.name: path.read_text(encoding="utf-8") for path in SCHEMAS.glob("*.json")}
    assert sorted(there) == sorted(made), "run python schemas/build.py"
    for name, text in made.items():
        assert there[name] == text, f"{name}: run python schemas/build.py"


def test_the_check_runs_as_a_command() -> None:
    asked = [sys.executable, SCHEMAS / "build.py", "--check"]
    done = subprocess.run(asked, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_stale_and_a_left_over_file_are_named(
    build: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(build, "SCHEMAS", tmp_path)
    monkeypatch.setattr(sys, "argv", ["build.py"])
    assert build.main() == 0
    (tmp_path / "route.schema.json").write_text("{}", encoding="utf-8")
    (tmp_path / "old.schema.json").write_text("{}", encoding="utf-8")
    monkeypatch.setattr(sys, "argv", ["build.py", "--check"])
    capsys.readouterr()
    assert build.main() == 1
    named = [line.split(" ")[0] for line in capsys.readouterr().err.splitlines()]
    assert named == ["schemas/old.schema.json", "schemas/route.schema.json"]


@pytest.mark.parametrize("path", JSON_SCHEMAS, ids=lambda path: path.name)
def test_it_is_a_json_schema(path: Path) -> None:
    schema = read(path)
    assert schema["$schema"] == jsonschema.Draft202012Validator.META_SCHEMA["$id"]
    jsonschema.Draft202012Validator.check_schema(schema)
    assert "$id" not in schema


@pytest.mark.parametrize("path", JSON_SCHEMAS, ids=lambda path: path.name)
def test_it_uses_the_words_of_the_standard_alone(path: Path) -> None:
    """An unknown keyword is no fault by the meta-schema, and would hold nothing."""
    known = {
        "$schema", "$defs", "$ref", "title", "description", "type", "properties", "required", "additionalProperties",
        "anyOf", "allOf", "if", "then", "items", "minItems", "enum", "const", "pattern", "propertyNames", "format",
        "minimum", "maximum", "exclusiveMinimum", "minLength", "maxLength", "minProperties", "default", "examples",
    }  # fmt: skip

    def words(schema: object, named: bool = False) -> Iterator[str]:
        """The keywords of a schema. named: the keys are names that its writer gave."""
        if isinstance(schema, list):
            for entry in schema:
                yield from words(entry)
        elif isinstance(schema, dict):
            for key, value in schema.items():
                if not named:
                    yield key
                if key not in ("default", "const", "enum", "examples") or named:
                    yield from words(value, not named and key in ("properties", "$defs"))

    assert set(words(read(path))) <= known


@pytest.mark.parametrize("path", JSON_SCHEMAS, ids=lambda path: path.name)
def test_every_table_is_described(path: Path) -> None:
    schema = read(path)
    for table in [schema, *schema.get("$defs", {}).values()]:
        assert table["title"]
        assert table["description"]


# What people write


def files(folder: str) -> list[Path]:
    return sorted(path for sample in SAMPLES for path in (TOP / "samples" / sample).glob(f"{folder}*.toml"))


@pytest.mark.parametrize(
    ("name", "path"),
    [
        *(("route", path) for path in files("")),
        *(("layout", path) for path in files("layouts/")),
        *(("source", path) for path in files("sources/")),
    ],
    ids=lambda entry: entry if isinstance(entry, str) else f"{entry.parents[1].name}-{entry.stem}",
)
def test_the_samples_are_taken(name: str, path: Path) -> None:
    assert toml_faults(name, path.read_text(encoding="utf-8")) == []


SLOT = LAYOUT + '[[slot]]\nlabel = "110"\n'
CHANGE = SLOT + "[[change]]\nfrom = 2026-09-14T09:30:00\n"
MAPPED = SOURCE + '[columns]\nmachine = "M"\ntime = "T"\nbus = "B"\ntender = "P"\n'

TAKEN = [
    ("route", ROUTE),
    ("route", ROUTE + '[tolerance]\ncash = 1.5\nunits = "2"\nboundary_minutes = 1440\n'),
    ("route", ROUTE + '[cards]\npercent = "100"\n[stock]\ncount_when = "after-load"\n'),
    ("layout", LAYOUT),
    ("layout", LAYOUT.replace("2026-08-03T07:00:00", "2026-08-03")),
    ("layout", LAYOUT.replace("2026-08-03T07:00:00", '"2026-08-03 07:00"')),
    ("layout", 'numbering = "hex-label"\ncurrency = "JPY"\nprice_step = 10\n' + SLOT + "bus = 65534\n"),
    ("layout", "numbering = { offset = -100 }\n" + LAYOUT),
    ("layout", "numbering = { grid = 10, first = 1 }\n" + LAYOUT),
    ("layout", "numbering = { sequence = 5 }\n" + SLOT),
    ("layout", SLOT.replace('"110"', "110") + 'bus = "272"\npitch = 2\nprice = 1.75\ncapacity = 1\npar = 0\n'),
    ("layout", SLOT + 'price = " 1.75 "\ncard_price = "+2"\ntray = 1\n'),
    ("layout", CHANGE + 'label = "110"\nretire = true\n'),
    ("source", SOURCE),
    ("source", MAPPED),
    ("source", MAPPED.replace('bus = "B"', 'label = "L"') + '[machines]\n"1" = "m-1"\n'),
    ("source", 'machine = "m-1"\n' + MAPPED.replace('machine = "M"\n', "")),
    ("source", MAPPED.replace('time = "T"', 'date = "D"\nclock = "C"')),
    ("source", MAPPED + '[words.tender]\ncash = ["Coin"]\n[time]\nformat = "%d.%m.%Y %H:%M"\n'),
    ("source", MAPPED + '[amounts]\ndecimal = ","\nminor_units = true\n[table]\ndelimiter = ";"\nheader_line = 3\n'),
    ("source", "bus_base = 16\n" + SOURCE),
    ("source", SOURCE.replace("vends", "payouts") + '[columns]\npaid_on = "D"\nnet = "N"\n'),
]
REFUSED = [
    ("route", ROUTE.replace('name = "R"\n', "")),
    ("route", ROUTE.replace("CAD", "CDA")),
    ("route", ROUTE.replace('"R"', '""')),
    ("route", ROUTE + "nme = 1\n"),
    ("route", ROUTE + "[tolerance]\nunits = -1\n"),
    ("route", ROUTE + "[tolerance]\nunits = true\n"),
    ("route", ROUTE + '[tolerance]\ncash = "1,00"\n'),
    ("route", ROUTE + "[tolerance]\nboundary_minutes = 1441\n"),
    ("route", ROUTE + "[cards]\npercent = 101\n"),
    ("route", ROUTE + '[stock]\ncount_when = "never"\n'),
    ("layout", LAYOUT.replace('machine = "m-1"\n', "")),
    ("layout", LAYOUT.replace("m-1", "-m")),
    ("layout", LAYOUT.replace("effective = 2026-08-03T07:00:00\n", "")),
    ("layout", LAYOUT.replace("07:00:00", "07:00:00Z")),
    ("layout", LAYOUT.replace("2026-08-03T07:00:00", "20260803")),
    ("layout", LAYOUT + "slots = []\n"),
    ("layout", LAYOUT + "[[slot]]\nbus = 1\n"),
    ("layout", 'numbering = "octal"\n' + LAYOUT),
    ("layout", "numbering = { grid = 0, first = 1 }\n" + LAYOUT),
    ("layout", "numbering = { grid = 10 }\n" + LAYOUT),
    ("layout", "price_step = 0\n" + LAYOUT),
    ("layout", SLOT.replace('"110"', '""')),
    ("layout", SLOT.replace('"110"', '"' + 65 * "1" + '"')),
    ("layout", SLOT + "bus = 1.5\n"),
    ("layout", SLOT + "pitch = 3\n"),
    ("layout", SLOT + "price = -1\n"),
    ("layout", SLOT + 'price = "1.75 CAD"\n'),
    ("layout", SLOT + "price = true\n"),
    ("layout", SLOT + "capacity = 0\n"),
    ("layout", SLOT + 'product = ""\n'),
    ("layout", SLOT + "prise = 1\n"),
    ("layout", CHANGE),
    ("layout", CHANGE + 'label = "110"\nretire = "no way"\n'),
    ("source", SOURCE.replace("vends", "sales")),
    ("source", SOURCE.replace('["*.csv"]', "[]")),
    ("source", SOURCE.replace('["*.csv"]', '"*.csv"')),
    ("source", "bus_base = 8\n" + SOURCE),
    ("source", MAPPED + 'counted = "N"\n'),
    ("source", MAPPED.replace('tender = "P"\n', "")),
    ("source", MAPPED.replace('machine = "M"\n', "")),
    ("source", MAPPED.replace('time = "T"', 'date = "D"')),
    ("source", MAPPED.replace('bus = "B"\n', "")),
    ("source", MAPPED + '[words.tender]\nmoney = ["Coin"]\n'),
    ("source", MAPPED + '[words.tender]\ncash = "Coin"\n'),
    ("source", MAPPED + '[amounts]\ndecimal = ";"\n'),
    ("source", MAPPED + '[table]\nencoding = "latin"\n'),
    ("source", MAPPED + "[table]\nheader_line = 0\n"),
]


@pytest.mark.parametrize(("name", "text"), TAKEN, ids=range(len(TAKEN)))
def test_what_recon_takes_the_schema_takes(name: str, text: str, tmp_path: Path) -> None:
    assert recon_takes(name, text, tmp_path)
    assert toml_faults(name, text) == []


@pytest.mark.parametrize(("name", "text"), REFUSED, ids=range(len(REFUSED)))
def test_what_recon_refuses_the_schema_refuses(name: str, text: str, tmp_path: Path) -> None:
    assert not recon_takes(name, text, tmp_path)
    assert toml_faults(name, text) != []


@pytest.mark.parametrize("number", [-1, 65535, 70000])
def test_a_number_that_the_check_tells_is_refused(number: int) -> None:
    assert toml_faults("layout", SLOT + f"bus = {number}\n") != []


def test_every_key_of_the_models_is_there() -> None:
    for name, model in MODELS.items():
        expected = {field.alias or key for key, field in model.model_fields.items()}
        assert set(read(SCHEMAS / f"{name}.schema.json")["properties"]) == expected


# What recon prints


@pytest.mark.parametrize("sample", SAMPLES)
def test_the_results_of_the_samples_keep_to_their_schema(sample: str) -> None:
    kept = json.loads((TOP / "tests" / "golden" / sample / "results.json").read_text(encoding="utf-8"))
    assert faults("results", kept) == []
    folder = str(TOP / "samples" / sample)
    printed = CliRunner().invoke(app, ["run", folder, "--format", "json", "--dry-run", "--quiet"])
    told = json.loads(printed.stdout)
    assert faults("results", told) == []
    Results.model_validate(told)


def test_results_that_are_wrong_are_refused() -> None:
    kept = json.loads((TOP / "tests" / "golden" / "bayside" / "results.json").read_text(encoding="utf-8"))
    for change in (
        {"format": "recon-results/2"},
        {"inputs": kept["inputs"] + [{"file": "inbox/a.csv"}]},
        {"stock": [kept["stock"][0] | {"retail_value": -1.75}]},
        {"stock": [kept["stock"][0] | {"retail_value": "1.75 CAD"}]},
        {"stock": [{key: value for key, value in kept["stock"][0].items() if key != "variance"}]},
        {"findings": [kept["findings"][0] | {"severity": "fatal"}]},
        {"more": 1},
    ):
        assert faults("results", kept | change), change
    del kept["until"]
    assert faults("results", kept)


@pytest.mark.parametrize("sample", SAMPLES)
def test_what_check_prints_keeps_to_its_schema(sample: str) -> None:
    printed = CliRunner().invoke(app, ["check", str(TOP / "samples" / sample), "--format", "json"])
    told = json.loads(printed.stdout)
    assert faults("check", told) == []
    assert faults("check", {"format": "recon-check/1", "problems": []}) == []
    assert faults("check", {"format": "recon-check/1"})
    assert faults("check", told | {"problems": [{"kind": "bad-value"}]})


LEARNING = {
    "one rule left": ("hex-label", ["110", "115", "118"]),
    "several rules left": (None, ["110"]),
    "no tests at all": (None, []),
}


@pytest.mark.parametrize("name", LEARNING)
def test_what_learn_prints_keeps_to_its_schema(name: str, tmp_path: Path) -> None:
    rule, tested = LEARNING[name]
    slots = "".join(f'[[slot]]\nlabel = "{label}"\nproduct = "gum"\nprice = "1.75"\n' for label in range(110, 119))
    files = {"route.toml": ROUTE, "layouts/m-1.toml": LAYOUT + slots}
    if tested:
        moments = [(label, f"2026-08-04 10:0{at}:00") for at, label in enumerate(tested)]
        rows = [f"m-1,{label},{moment}" for label, moment in moments]
        vends = [f"m-1,{moment},{int(label, 16)},1.75,test,vended" for label, moment in moments]
        files["inbox/tests.csv"] = "\n".join(["machine,label,time", *rows, ""])
        files["inbox/vends.csv"] = "\n".join(["machine,time,bus,price,tender,outcome", *vends, ""])
    for file, text in files.items():
        (tmp_path / file).parent.mkdir(exist_ok=True)
        (tmp_path / file).write_text(text, encoding="utf-8")
    printed = CliRunner().invoke(app, ["learn", str(tmp_path), "m-1", "--format", "json", "--quiet"])
    told = json.loads(printed.stdout)
    assert faults("learn", told) == []
    LearnResults.model_validate(told)
    assert told["rule"] == rule
    assert len(told["tests"]) == len(tested)
    assert faults("learn", told | {"rules": [{"rule": 1}]})
    assert faults("learn", {key: value for key, value in told.items() if key != "certain"})


def test_recon_itself_needs_no_schemas() -> None:
    """They are for editors and scripts: nothing in the package reads them, and the wheel leaves them out."""
    assert not any("schema.json" in path.read_text(encoding="utf-8") for path in (TOP / "recon").rglob("*.py"))
