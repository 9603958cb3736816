"""The first tables of the store, as SQL. Never edited after release.

Constraints have names: SQLite puts the name into the message when one is broken.
"""


def _moment(column: str) -> str:
    """Demand ISO 8601 with date, time and offset, such as 2026-05-04T09:30:00+02:00.

    Only when it adds something to a date does SQLite notice that 30 February is none.
    """
    return (
        f"CONSTRAINT {column}_is_iso_8601_with_offset CHECK ({column} GLOB '????-??-??T*' AND"
        f" ({column} GLOB '*[+-][0-9][0-9]:[0-9][0-9]' OR {column} GLOB '*Z')"
        f" AND datetime({column}) IS NOT NULL"
        f" AND substr({column}, 1, 10) IS date(substr({column}, 1, 10), '+0 days'))"
    )


def _json(table: str, **kinds: str) -> str:
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


def _uuid(column: str) -> str:
    """Demand a UUID in lower case with hyphens."""
    digit = "[0-9a-f]"
    form = "-".join(digit * count for count in (8, 4, 4, 4, 12))
    return f"CONSTRAINT {column}_is_uuid CHECK ({column} GLOB '{form}')"


def _append_only(table: str) -> tuple[str, ...]:
    """Refuse that a row of the table is changed or removed."""
    return tuple(
        f"CREATE TRIGGER {table}_no_{action.lower()} BEFORE {action} ON {table} BEGIN"
        f" SELECT RAISE(ABORT, '{table} is append-only'); END"
        for action in ("UPDATE", "DELETE")
    )


_TABLES = (
    f"""
    CREATE TABLE clients (
        id TEXT NOT NULL PRIMARY KEY,
        created_at TEXT NOT NULL,
        name TEXT NOT NULL CONSTRAINT name_is_not_blank CHECK (trim(name) <> ''),
        sex TEXT NOT NULL CONSTRAINT sex_is_known CHECK (sex IN ('female', 'male')),
        birth_date TEXT
            CONSTRAINT birth_date_is_iso_8601 CHECK (birth_date IS date(birth_date, '+0 days')),
        note TEXT NOT NULL,
        {_uuid("id")},
        {_moment("created_at")}
    ) STRICT
    """,
    f"""
    CREATE TABLE assessors (
        id TEXT NOT NULL PRIMARY KEY,
        created_at TEXT NOT NULL,
        name TEXT NOT NULL CONSTRAINT name_is_not_blank CHECK (trim(name) <> ''),
        {_uuid("id")},
        {_moment("created_at")}
    ) STRICT
    """,
    f"""
    CREATE TABLE visits (
        id TEXT NOT NULL PRIMARY KEY,
        client_id TEXT NOT NULL REFERENCES clients (id),
        assessor_id TEXT NOT NULL REFERENCES assessors (id),
        started_at TEXT NOT NULL,
        plan TEXT NOT NULL,
        program_version TEXT NOT NULL,
        {_uuid("id")},
        {_moment("started_at")}
    ) STRICT
    """,
    f"""
    CREATE TABLE journal (
        visit_id TEXT NOT NULL REFERENCES visits (id),
        sequence INTEGER NOT NULL,
        at TEXT NOT NULL,
        source TEXT NOT NULL
            CONSTRAINT source_is_known CHECK (source IN ('voice', 'keypad', 'program')),
        words TEXT NOT NULL,
        confidence REAL
            CONSTRAINT confidence_is_0_to_1 CHECK (confidence BETWEEN 0.0 AND 1.0),
        alternatives TEXT NOT NULL,
        intent TEXT NOT NULL,
        facts TEXT NOT NULL,
        PRIMARY KEY (visit_id, sequence),
        {_moment("at")}
    ) STRICT
    """,
    # `position` counts from 0 within the entry and keeps the order of its facts.
    f"""
    CREATE TABLE reading_facts (
        visit_id TEXT NOT NULL,
        sequence INTEGER NOT NULL,
        position INTEGER NOT NULL CHECK (position >= 0),
        number INTEGER NOT NULL,
        reading_id TEXT NOT NULL,
        state TEXT NOT NULL CONSTRAINT state_is_known
            CHECK (state IN ('heard', 'confirmed', 'replaced', 'dropped', 'undone')),
        site TEXT NOT NULL CONSTRAINT site_is_not_blank CHECK (site <> ''),
        circuit INTEGER NOT NULL CONSTRAINT circuit_counts_from_1 CHECK (circuit >= 1),
        value_tenths_mm INTEGER NOT NULL
            CONSTRAINT value_is_above_0 CHECK (value_tenths_mm > 0),
        PRIMARY KEY (visit_id, sequence, position),
        FOREIGN KEY (visit_id, sequence) REFERENCES journal (visit_id, sequence),
        FOREIGN KEY (visit_id, number) REFERENCES journal (visit_id, sequence),
        CONSTRAINT number_is_of_this_entry_or_an_earlier_one
            CHECK (number BETWEEN 1 AND sequence),
        {_uuid("reading_id")}
    ) STRICT
    """,
    f"""
    CREATE TABLE results (
        id TEXT NOT NULL PRIMARY KEY,
        visit_id TEXT NOT NULL,
        computed_at TEXT NOT NULL,
        sequence INTEGER NOT NULL,
        result TEXT NOT NULL,
        FOREIGN KEY (visit_id, sequence) REFERENCES journal (visit_id, sequence),
        {_uuid("id")},
        {_moment("computed_at")}
    ) STRICT
    """,
)

_INDEXES = (
    "CREATE INDEX visits_of_client ON visits (client_id)",
    "CREATE INDEX visits_of_assessor ON visits (assessor_id)",
    "CREATE INDEX facts_of_reading ON reading_facts (visit_id, number, sequence, position)",
    "CREATE INDEX results_of_visit ON results (visit_id, sequence)",
    # Few entries hold a sign-off: without this every entry of every visit would be parsed.
    """
    CREATE INDEX possible_sign_offs ON journal (visit_id)
    WHERE instr(facts, '"signed_off"') > 0
    """,
)

# INSERT OR REPLACE removes the old row without a trigger on DELETE unless the connection asks
# for it, so each append-only table looks before an INSERT as well.
_TRIGGERS = (
    _json("visits", plan="object"),
    _json("journal", alternatives="array", intent="object", facts="array"),
    _json("results", result="object"),
    *_append_only("journal"),
    """
    CREATE TRIGGER journal_without_gaps BEFORE INSERT ON journal
    WHEN NEW.sequence IS NOT
        (SELECT coalesce(max(sequence), 0) + 1 FROM journal WHERE visit_id = NEW.visit_id)
    BEGIN SELECT RAISE(ABORT, 'the sequence of the journal has a gap or a repeat'); END
    """,
    *_append_only("reading_facts"),
    """
    CREATE TRIGGER reading_facts_of_last_entry BEFORE INSERT ON reading_facts
    WHEN NEW.sequence IS NOT
        (SELECT max(sequence) FROM journal WHERE visit_id = NEW.visit_id)
        OR EXISTS (SELECT 1 FROM reading_facts WHERE visit_id = NEW.visit_id
            AND sequence = NEW.sequence AND position = NEW.position)
    BEGIN SELECT RAISE(ABORT, 'reading_facts is append-only'); END
    """,
    """
    CREATE TRIGGER reading_keeps_its_value BEFORE INSERT ON reading_facts
    WHEN EXISTS (SELECT 1 FROM reading_facts AS earlier
        WHERE earlier.visit_id = NEW.visit_id AND earlier.number = NEW.number
        AND (earlier.reading_id, earlier.site, earlier.circuit, earlier.value_tenths_mm)
            IS NOT (NEW.reading_id, NEW.site, NEW.circuit, NEW.value_tenths_mm))
    BEGIN SELECT RAISE(ABORT, 'a reading keeps its site, circuit and value'); END
    """,
    *_append_only("results"),
    """
    CREATE TRIGGER results_no_replace BEFORE INSERT ON results
    WHEN EXISTS (SELECT 1 FROM results WHERE id = NEW.id)
    BEGIN SELECT RAISE(ABORT, 'results is append-only'); END
    """,
    *_append_only("visits"),
    """
    CREATE TRIGGER visits_no_replace BEFORE INSERT ON visits
    WHEN EXISTS (SELECT 1 FROM visits WHERE id = NEW.id)
    BEGIN SELECT RAISE(ABORT, 'visits is append-only'); END
    """,
)

_VIEWS = (
    # One row a reading, as its last fact left it.
    """
    CREATE VIEW readings AS
    SELECT
        last.visit_id, last.number, last.reading_id, clients.name AS client,
        last.site, last.circuit, last.value_tenths_mm / 10.0 AS value_mm, last.state,
        heard.at AS heard_at, changed.at AS changed_at,
        heard.words, heard.confidence, heard.source
    FROM reading_facts AS last
    JOIN visits ON visits.id = last.visit_id
    JOIN clients ON clients.id = visits.client_id
    JOIN journal AS heard
        ON heard.visit_id = last.visit_id AND heard.sequence = last.number
    JOIN journal AS changed
        ON changed.visit_id = last.visit_id AND changed.sequence = last.sequence
    WHERE NOT EXISTS (
        SELECT 1 FROM reading_facts AS later
        WHERE later.visit_id = last.visit_id AND later.number = last.number
        AND (later.sequence, later.position) > (last.sequence, last.position)
    )
    """,
    "CREATE VIEW confirmed_readings AS SELECT * FROM readings WHERE state = 'confirmed'",
    # The date is the assessor's own day, not that of UTC.
    """
    CREATE VIEW day_list AS
    SELECT
        visits.id AS visit_id, substr(visits.started_at, 1, 10) AS date,
        clients.name AS client, assessors.name AS assessor,
        (SELECT count(*) FROM confirmed_readings
            WHERE confirmed_readings.visit_id = visits.id) AS confirmed_readings,
        EXISTS (SELECT 1 FROM journal, json_each(journal.facts) AS fact,
                json_each(journal.facts, fact.fullkey) AS part
            WHERE journal.visit_id = visits.id
            AND instr(journal.facts, '"signed_off"') > 0
            AND part.key = 'kind' AND part.value = 'signed_off'
        ) AS signed_off
    FROM visits
    JOIN clients ON clients.id = visits.client_id
    JOIN assessors ON assessors.id = visits.assessor_id
    """,
)

STATEMENTS = (*_TABLES, *_INDEXES, *_TRIGGERS, *_VIEWS)
