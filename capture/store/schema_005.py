"""What was added for the calipers: what each is, and its checks with gauge blocks.

Never edited after release. Both tables are append-only. `points` is a JSON array of pairs, what a
gauge block measures and what the caliper read, in whole tenths of a millimetre.
"""

from capture.store.schema_parts import append_only, json_trigger, moment, no_replace, uuid_check

STATEMENTS = (
    f"""
    CREATE TABLE calipers (
        id TEXT NOT NULL PRIMARY KEY,
        added_at TEXT NOT NULL,
        description TEXT NOT NULL
            CONSTRAINT description_is_not_blank CHECK (trim(description) <> ''),
        step_tenths_mm INTEGER NOT NULL
            CONSTRAINT step_is_known CHECK (step_tenths_mm IN (1, 2, 5, 10)),
        opening_tenths_mm INTEGER NOT NULL
            CONSTRAINT opening_is_possible CHECK (opening_tenths_mm BETWEEN 100 AND 999),
        {uuid_check("id")},
        {moment("added_at")}
    ) STRICT
    """,
    f"""
    CREATE TABLE gauge_checks (
        id TEXT NOT NULL PRIMARY KEY,
        caliper_id TEXT NOT NULL REFERENCES calipers (id),
        at TEXT NOT NULL,
        checked_on TEXT NOT NULL
            CONSTRAINT checked_on_is_iso_8601 CHECK (checked_on IS date(checked_on, '+0 days')),
        by_name TEXT NOT NULL CONSTRAINT by_name_is_not_blank CHECK (trim(by_name) <> ''),
        points TEXT NOT NULL,
        {uuid_check("id")},
        {moment("at")}
    ) STRICT
    """,
    "CREATE INDEX checks_of_caliper ON gauge_checks (caliper_id, checked_on)",
    json_trigger("gauge_checks", points="array"),
    *append_only("calipers"),
    *append_only("gauge_checks"),
    no_replace("calipers", "id"),
    no_replace("gauge_checks", "id"),
)
