"""Pages of a list, newest first, by a cursor that stays true while rows come and go."""

from __future__ import annotations

import base64
import binascii
import re
from typing import Any

from sqlalchemy import ColumnElement, Connection, RowMapping, Table, select, tuple_

from .ids import is_id

Place = tuple[float, str]
_CURSOR = re.compile(r"([0-9]{1,12}\.[0-9]{1,9}) (\S+)")


def cursor_of(row: RowMapping) -> str:
    """The place behind a row, as text for clients to hand back."""
    text = f"{row['created']:.7f} {row['id']}"
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


def read_cursor(cursor: str) -> Place | None:
    """The place that a cursor stands for, or None where it is none of ours."""
    try:
        padded = cursor.encode("ascii") + b"=" * (-len(cursor) % 4)
        text = base64.b64decode(padded, altchars=b"-_", validate=True).decode("ascii")
    except (ValueError, binascii.Error):
        return None
    found = _CURSOR.fullmatch(text)
    return (float(found[1]), found[2]) if found and is_id(found[2]) else None


def page(
    connection: Connection,
    table: Table,
    where: ColumnElement[bool],
    limit: int,
    after: Place | None,
    *columns: Any,
) -> tuple[list[RowMapping], str | None]:
    """At most `limit` rows behind a place, and the cursor of the next page (None: the last)."""
    found = select(*(columns or (table,))).where(where)
    if after is not None:
        found = found.where(tuple_(table.c.created, table.c.id) < tuple_(*after))
    found = found.order_by(table.c.created.desc(), table.c.id.desc()).limit(limit + 1)
    rows = list(connection.execute(found).mappings())
    return rows[:limit], cursor_of(rows[limit - 1]) if len(rows) > limit else None
