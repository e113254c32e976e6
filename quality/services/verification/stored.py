"""Dates and times in SQLite's file: each in the one form that Django writes.

SQLite keeps them as text and compares them as text. The same moment written otherwise
reads the same, and is missing wherever rows are looked for by their day.
"""

from __future__ import annotations

from collections.abc import Iterator

from django.db import connection, models

_DIGIT = "[0-9]"
_DAY = f"{_DIGIT * 4}-{_DIGIT * 2}-{_DIGIT * 2}"
_MOMENT = f"{_DAY} {_DIGIT * 2}:{_DIGIT * 2}:{_DIGIT * 2}"
_SHORT = "{column} GLOB '" + _MOMENT + "'"
_LONG = (
    "{column} GLOB '"
    + _MOMENT
    + "."
    + _DIGIT * 6
    + "' AND {column} NOT LIKE '%.000000'"
)
MOMENT = f"({_SHORT}) OR ({_LONG})"
DAY = "{column} GLOB '" + _DAY + "'"
MOST_SHOWN = 40  # characters


def faults(rows_of: list[type[models.Model]]) -> Iterator[str]:
    """Yield a fault for each date and time of these tables in another form."""
    for model in rows_of:
        for field in model._meta.concrete_fields:
            if isinstance(field, models.DateField):  # a DateTimeField is one too
                yield from _of_column(model, field)


def _of_column(
    model: type[models.Model], field: models.DateField[object, object]
) -> Iterator[str]:
    quote = connection.ops.quote_name
    column, key = quote(str(field.column)), quote(str(model._meta.pk.column))
    form = MOMENT if isinstance(field, models.DateTimeField) else DAY
    good = f"typeof({column}) = 'text' AND ({form.format(column=column)})"
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT {key}, CAST({column} AS text) FROM"  # noqa: S608 - our own names
            f" {quote(model._meta.db_table)} WHERE NOT ({good}) AND {column} IS NOT"
            f" NULL ORDER BY {key}",
            None,
        )
        found = cursor.fetchall()
    words = str(model._meta.verbose_name)
    label = field.attname.replace("_", " ")
    for pk, text in found:
        yield (
            f"{words[0].upper()}{words[1:]} {pk}: {label} is kept as"
            f" “{text[:MOST_SHOWN]}”, which is not how Kettlebook writes it; lists by"
            " day can leave the row out."
        )
