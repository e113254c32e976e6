"""An ``update()`` sends no signal, so what it writes must be noted or derived."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from django.apps import apps
from django.conf import settings

from producer.written import is_noted
from quality.services.verification.rows import DERIVED

pytestmark = pytest.mark.any_engine

# What another check of ``verify`` compares, and the last number of a series.
FREE = {name.removesuffix("_id") for names in DERIVED.values() for name in names}
FREE |= {"last"}


def fields(*, are_noted: bool) -> set[str]:
    """Return the columns of the models that the journal keeps, or does not keep."""
    return {
        field.name
        for model in apps.get_models()
        if is_noted(model) is are_noted
        for field in model._meta.concrete_fields
    }


# Of what is counted without the journal, as the scans of strangers are.
FREE |= fields(are_noted=False) - fields(are_noted=True)


def careless(source: str) -> list[str]:
    """Return the functions that update columns and do not note the rows."""
    found = []
    for function in ast.walk(ast.parse(source)):
        if isinstance(function, ast.FunctionDef):
            calls = [node for node in ast.walk(function) if isinstance(node, ast.Call)]
            notes = any(ast.unparse(call.func) == "written.note" for call in calls)
            if not notes and any(is_update(call, function) for call in calls):
                found.append(function.name)
    return found


def is_update(call: ast.Call, function: ast.FunctionDef) -> bool:
    """Say whether a call is an ``update()`` of a column that is not free."""
    if not isinstance(call.func, ast.Attribute):
        return False
    if call.func.attr == "bulk_update":
        return True
    if call.func.attr != "update" or not call.keywords:
        return False
    return not columns_of(call, function) <= FREE


def columns_of(call: ast.Call, function: ast.FunctionDef) -> set[str]:
    """Return the columns named; those of ``**values`` from where they are put in."""
    named = {keyword.arg for keyword in call.keywords if keyword.arg}
    for keyword in call.keywords:
        if keyword.arg is None:
            named |= keys_of(ast.unparse(keyword.value), function) or {"?"}
    return named


def keys_of(name: str, function: ast.FunctionDef) -> set[str]:
    """Return the keys that this function puts into a dictionary of that name."""
    keys: set[str] = set()
    for node in ast.walk(function):
        if isinstance(node, ast.Assign):
            keys |= keys_put(name, node.targets[0], node.value)
        elif isinstance(node, ast.AnnAssign) and node.value is not None:
            keys |= keys_put(name, node.target, node.value)
    return keys


def keys_put(name: str, target: ast.expr, value: ast.expr) -> set[str]:
    """Return the keys that one assignment puts into it; “?” where it does not say."""
    if isinstance(target, ast.Subscript) and ast.unparse(target.value) == name:
        return {str(ast.literal_eval(target.slice))}
    if ast.unparse(target) != name:
        return set()
    if not isinstance(value, ast.Dict):
        return {"?"}
    return {ast.literal_eval(key) if key else "?" for key in value.keys}


def test_every_update_notes_its_rows_or_writes_what_another_check_derives() -> None:
    found = {
        str(path.relative_to(settings.BASE_DIR)): names
        for app in ("producer", "batches", "quality")
        for path in sorted((Path(settings.BASE_DIR) / app).rglob("*.py"))
        if "migrations" not in path.parts
        and (names := careless(path.read_text(encoding="utf-8")))
    }
    assert found == {}


@pytest.mark.parametrize(
    ("body", "is_careless"),
    [
        ("rows.update(place='x')", True),
        ("rows.update(status='x', place='x')", True),
        ("values = {'status': 1}\n    rows.update(**values)", False),
        ("values = {'place': 1}\n    rows.update(**values)", True),
        ("values = {}\n    values['place'] = 1\n    rows.update(**values)", True),
        ("rows.update(**given)", True),
        ("rows.bulk_update(some, ['status'])", True),
        ("rows.update(place='x')\n    written.note(row)", False),
        ("rows.update(status='x')", False),
        ("digest.update(piece)", False),
    ],
)
def test_control_what_is_careless_is_told_from_what_is_not(
    body: str, *, is_careless: bool
) -> None:
    assert careless(f"def act():\n    {body}\n") == (["act"] if is_careless else [])
