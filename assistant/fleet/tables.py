"""The store's tables as Ibis sees them: by name, without a backend, with the types of `schema`.

The same expression then runs on every backend that has tables of these names.
"""

from __future__ import annotations

import ibis
import ibis.expr.types as ir
from sqlalchemy import BigInteger, Boolean, Integer, LargeBinary, String, Table

from assistant.fleet import schema

_KINDS = ((BigInteger, "int64"), (Integer, "int64"), (Boolean, "boolean"), (String, "string"), (LargeBinary, "binary"))


@ibis.udf.agg.builtin  # type: ignore[untyped-decorator]
def bit_or(marks: int) -> int:
    """Return all bits that are set in any row; built into every backend but SQLite, which `store` lends one."""
    raise NotImplementedError


def named(table: type[schema.Base]) -> ir.Table:
    """Return a table of the store by its name."""
    told: Table = table.__table__  # type: ignore[assignment]
    return ibis.table({column.name: _kind(column.type) for column in told.columns}, name=told.name)


def _kind(told: object) -> str:
    return next(name for kind, name in _KINDS if isinstance(told, kind))


TABLET = named(schema.Tablet)
RUN = named(schema.Run)
VISIT = named(schema.Visit)
REFUSAL = named(schema.Refusal)
HEARING = named(schema.Hearing)
READING = named(schema.Reading)
QUARANTINE = named(schema.Quarantine)
TALLY = named(schema.Tally)
TREND = named(schema.Trend)
STALE = named(schema.Stale)
