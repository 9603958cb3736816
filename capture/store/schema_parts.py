"""Parts of the schema that the steps after the first share."""


def moment(column: str) -> str:
    """Demand ISO 8601 with date, time and offset, such as 2026-05-04T09:30:00+02:00.

    Only when it adds something to a date does SQLite notice that 30 February is none.
    """
    return (
        f"CONSTRAINT {column}_is_iso_8601_with_offset CHECK ({column} GLOB '????-??-??T*' AND"
        f" ({column} GLOB '*[+-][0-9][0-9]:[0-9][0-9]' OR {column} GLOB '*Z')"
        f" AND datetime({column}) IS NOT NULL"
        f" AND substr({column}, 1, 10) IS date(substr({column}, 1, 10), '+0 days'))"
    )


def json_trigger(table: str, **kinds: str) -> str:
    """Demand JSON, `object` or `array`, in columns of the table.

    This is a trigger, not a CHECK: with trusted_schema off, SQLite 3.40 takes json_each and
    json_tree in a trigger or view but not json_valid or json_type. Text that is no JSON at all
    fails in json_tree itself ("malformed JSON").
    """
    wrong = " OR ".join(
        f"NOT EXISTS (SELECT 1 FROM json_tree(NEW.{column})"
        f" WHERE fullkey = '$' AND type = '{kind}')"
        for column, kind in kinds.items()
    )
    wanted = ", ".join(f"{column} is a JSON {kind}" for column, kind in kinds.items())
    return (
        f"CREATE TRIGGER {table}_json BEFORE INSERT ON {table} WHEN {wrong}"
        f" BEGIN SELECT RAISE(ABORT, '{wanted}'); END"
    )


def uuid_check(column: str) -> str:
    """Demand a UUID in lower case with hyphens."""
    digit = "[0-9a-f]"
    form = "-".join(digit * count for count in (8, 4, 4, 4, 12))
    return f"CONSTRAINT {column}_is_uuid CHECK ({column} GLOB '{form}')"


def append_only(table: str) -> tuple[str, ...]:
    """Refuse that a row of the table is changed or removed."""
    return tuple(
        f"CREATE TRIGGER {table}_no_{action.lower()} BEFORE {action} ON {table} BEGIN"
        f" SELECT RAISE(ABORT, '{table} is append-only'); END"
        for action in ("UPDATE", "DELETE")
    )


def no_replace(table: str, key: str) -> str:
    """Look before an INSERT: INSERT OR REPLACE would remove the old row in silence."""
    return (
        f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table}"
        f" WHEN EXISTS (SELECT 1 FROM {table} WHERE {key} = NEW.{key})"
        f" BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
    )
