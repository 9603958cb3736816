"""What was added so that a caliper can be retired, as when it was sold or broke, and taken back.

Never edited after release. The table is append-only: each row says from when on a caliper is in
use or not, who said so and why; the last of a caliper counts, and without any it is in use.
"""

from capture.store.schema_parts import append_only, moment, no_replace, uuid_check

STATEMENTS = (
    f"""
    CREATE TABLE caliper_changes (
        id TEXT NOT NULL PRIMARY KEY,
        caliper_id TEXT NOT NULL REFERENCES calipers (id),
        at TEXT NOT NULL,
        in_use INTEGER NOT NULL CONSTRAINT in_use_is_yes_or_no CHECK (in_use IN (0, 1)),
        by_name TEXT NOT NULL CONSTRAINT by_name_is_not_blank CHECK (trim(by_name) <> ''),
        reason TEXT NOT NULL CONSTRAINT reason_is_not_blank CHECK (trim(reason) <> ''),
        {uuid_check("id")},
        {moment("at")}
    ) STRICT
    """,
    "CREATE INDEX changes_of_caliper ON caliper_changes (caliper_id, at)",
    *append_only("caliper_changes"),
    no_replace("caliper_changes", "id"),
)
