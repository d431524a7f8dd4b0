"""The guide to machine files names every field, and its example is sound."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import pytest

from knowngood.circuit.device import KINDS
from knowngood.machines import schema
from knowngood.machines.check import report_text
from knowngood.machines.machine import StepRole
from knowngood.machines.tree import LARGEST
from knowngood.measure.units import Quantity

GUIDE_FILE = Path(__file__).parents[2] / "docs" / "machine-files.md"
GUIDE = GUIDE_FILE.read_text(encoding="utf-8")


def section(title: str) -> str:
    found = re.search(rf"^## {title}$(.*?)(?=^## |\Z)", GUIDE, re.M | re.S)
    assert found, f"the guide has no section {title}"
    return found[1]


@pytest.mark.parametrize("title", list(schema.SECTIONS))
def test_every_field_of_a_section_is_explained_there(title: str) -> None:
    text = section(title)
    forms = [schema.SECTIONS[title], *(f for (s, _), f in schema.INNER.items() if s == title)]
    for form in forms:
        for name in form.model_fields:
            assert f"`{name}`" in text, f"{title}: {name}"


def test_every_field_at_the_top_is_explained() -> None:
    text = section("The top of the file")
    for name in schema.MachineSpec.model_fields:
        assert f"`{name}`" in text or name in schema.SECTIONS, name


def test_the_guide_names_no_field_that_there_is_not() -> None:
    for title, form in schema.SECTIONS.items():
        known = set(form.model_fields)
        for (where, _), inner in schema.INNER.items():
            known |= set(inner.model_fields) if where == title else set()
        for row in re.findall(r"^\| (`.*?) \|", section(title), re.M):
            assert set(re.findall(r"`(\w+)`", row)) <= known, (title, row)


def test_the_fields_of_elements_are_explained_where_the_guide_leads() -> None:
    (row,) = (line for line in section("circuit").splitlines() if line.startswith("| `elements`"))
    page, heading = re.findall(r"\(([a-z-]+\.md)#([a-z]+)\)", row)[0]
    text = (GUIDE_FILE.parent / page).read_text(encoding="utf-8")
    kinds = re.search(rf"^## {heading.capitalize()}$(.*?)(?=^## )", text, re.M | re.S)
    assert kinds
    rows = {line.split("|")[1].strip(): line for line in kinds[1].splitlines() if line[:1] == "|"}
    sizes = {"wire": ("awg", "mm2", "length"), "winding3": ("form",)}
    for name, kind in KINDS.items():
        for field in (*(f.key for f in kind.FIELDS if f.key != "delta"), *sizes.get(name, ())):
            assert f"`{field}`" in rows[name], (name, field)
    for field in ("ref", "kind", "pins", "through", "words", "colour", "source"):
        assert f"`{field}`" in row


def test_defaults_in_the_guide_are_those_of_the_form() -> None:
    row = re.compile(r"^\| `(\w+)` \|[^|]*\(([0-9.]+)\) ?[|;]", re.M)
    assert row.findall(section("complaints")) == [("others", "0.02"), ("no_fault", "0.1")]
    for title, form in schema.SECTIONS.items():
        for name, value in row.findall(section(title)):
            assert form.model_fields[name].default == pytest.approx(float(value)), (title, name)


def test_quantities_roles_and_limits_are_complete() -> None:
    assert all(f"`{q}`" in section("tests") for q in get_args(Quantity))
    assert all(f"`{r}`" in section("teardown") for r in get_args(StepRole) if r)
    assert f"{LARGEST:,} bytes" in GUIDE


def test_the_worked_example_is_sound() -> None:
    (example,) = re.findall(r"```yaml\n(.*?)```", GUIDE, re.S)
    machine, report = report_text(example, "fan")
    assert machine is not None, [str(p) for p in report.problems]
    assert report.notes == () and all(p.test for p in report.proofs)


def test_every_form_has_examples_for_its_fixes() -> None:
    for form in [schema.MachineSpec, *schema.SECTIONS.values(), *schema.INNER.values()]:
        for name, field in form.model_fields.items():
            assert isinstance(field.json_schema_extra, dict), (form.__name__, name)
            assert field.json_schema_extra["example"]
