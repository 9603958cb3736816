"""What was added for the end of the day: amendments, edits and links of clients, tombstones.

Never edited after release. Everything here is append-only but `people`, which is worked out from
`client_links` again whenever one is added.
"""

from capture.store.schema_parts import append_only, json_trigger, moment, uuid_check

_TABLES = (
    # What a reviewer changed: never the journal itself. `follows` lists the amendments that this
    # one was made after; two that follow the same one were made at two stations.
    f"""
    CREATE TABLE amendments (
        id TEXT NOT NULL PRIMARY KEY,
        visit_id TEXT NOT NULL REFERENCES visits (id),
        at TEXT NOT NULL,
        by_name TEXT NOT NULL CONSTRAINT by_name_is_not_blank CHECK (trim(by_name) <> ''),
        reason TEXT NOT NULL CONSTRAINT reason_is_not_blank CHECK (trim(reason) <> ''),
        kind TEXT NOT NULL CONSTRAINT kind_is_known
            CHECK (kind IN ('value', 'withdrawn', 'as_taken', 'signed_off')),
        number INTEGER,
        value_tenths_mm INTEGER CONSTRAINT value_is_above_0 CHECK (value_tenths_mm > 0),
        follows TEXT NOT NULL,
        after_sign_off INTEGER NOT NULL CHECK (after_sign_off IN (0, 1)),
        FOREIGN KEY (visit_id, number) REFERENCES journal (visit_id, sequence),
        CONSTRAINT reading_is_named CHECK ((kind = 'signed_off') = (number IS NULL)),
        CONSTRAINT value_is_given CHECK ((kind = 'value') = (value_tenths_mm IS NOT NULL)),
        {uuid_check("id")},
        {moment("at")}
    ) STRICT
    """,
    f"""
    CREATE TABLE client_edits (
        id TEXT NOT NULL PRIMARY KEY,
        client_id TEXT NOT NULL REFERENCES clients (id),
        at TEXT NOT NULL,
        follows TEXT NOT NULL,
        name TEXT NOT NULL CONSTRAINT name_is_not_blank CHECK (trim(name) <> ''),
        sex TEXT NOT NULL CONSTRAINT sex_is_known CHECK (sex IN ('female', 'male')),
        birth_date TEXT
            CONSTRAINT birth_date_is_iso_8601 CHECK (birth_date IS date(birth_date, '+0 days')),
        note TEXT NOT NULL,
        {uuid_check("id")},
        {moment("at")}
    ) STRICT
    """,
    f"""
    CREATE TABLE client_links (
        id TEXT NOT NULL PRIMARY KEY,
        client_id TEXT NOT NULL REFERENCES clients (id),
        same_as TEXT NOT NULL REFERENCES clients (id),
        at TEXT NOT NULL,
        CONSTRAINT two_clients CHECK (client_id <> same_as),
        {uuid_check("id")},
        {moment("at")}
    ) STRICT
    """,
    """
    CREATE TABLE people (
        client_id TEXT NOT NULL PRIMARY KEY REFERENCES clients (id),
        person_id TEXT NOT NULL REFERENCES clients (id)
    ) STRICT
    """,
    # Nothing of the person but the identifier, so that a merge does not bring them back.
    f"""
    CREATE TABLE tombstones (
        client_id TEXT NOT NULL PRIMARY KEY,
        erased_at TEXT NOT NULL,
        {uuid_check("client_id")},
        {moment("erased_at")}
    ) STRICT
    """,
)

_INDEXES = (
    "CREATE INDEX amendments_of_visit ON amendments (visit_id, number)",
    "CREATE INDEX edits_of_client ON client_edits (client_id)",
    "CREATE INDEX visits_by_start ON visits (started_at)",
)


def _no_replace(table: str, key: str) -> str:
    """Look before an INSERT: INSERT OR REPLACE would remove the old row in silence."""
    return (
        f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table}"
        f" WHEN EXISTS (SELECT 1 FROM {table} WHERE {key} = NEW.{key})"
        f" BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
    )


_TRIGGERS = (
    json_trigger("amendments", follows="array"),
    json_trigger("client_edits", follows="array"),
    *append_only("amendments"),
    *append_only("client_edits"),
    *append_only("client_links"),
    *append_only("tombstones"),
    _no_replace("amendments", "id"),
    _no_replace("client_edits", "id"),
    _no_replace("client_links", "id"),
    _no_replace("tombstones", "client_id"),
    """
    CREATE TRIGGER erased_clients_stay_erased BEFORE INSERT ON clients
    WHEN EXISTS (SELECT 1 FROM tombstones WHERE client_id = NEW.id)
    BEGIN SELECT RAISE(ABORT, 'this client was erased on request'); END
    """,
)

_VIEWS = (
    "DROP VIEW day_list",
    "DROP VIEW confirmed_readings",
    "DROP VIEW readings",
    # One row a reading, as its last fact left it and as it was amended. Where amendments of two
    # stations disagree, none of them counts, and `amended` says so.
    """
    CREATE VIEW readings AS
    SELECT
        last.visit_id, last.number, last.reading_id, clients.name AS client,
        last.site, last.circuit, last.value_tenths_mm / 10.0 AS value_mm, last.state,
        heard.at AS heard_at, changed.at AS changed_at,
        heard.words, heard.confidence, heard.source,
        (SELECT count(*) FROM amendments
            WHERE amendments.visit_id = last.visit_id AND amendments.number = last.number
        ) AS amendments
    FROM reading_facts AS last
    JOIN visits ON visits.id = last.visit_id
    LEFT JOIN people ON people.client_id = visits.client_id
    JOIN clients ON clients.id = coalesce(people.person_id, visits.client_id)
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
        ) OR EXISTS (SELECT 1 FROM amendments
            WHERE amendments.visit_id = visits.id AND amendments.kind = 'signed_off'
        ) AS signed_off,
        (SELECT min(amendments.by_name) FROM amendments
            WHERE amendments.visit_id = visits.id AND amendments.kind = 'signed_off'
        ) AS signed_off_by,
        (SELECT count(*) FROM amendments
            WHERE amendments.visit_id = visits.id AND amendments.kind <> 'signed_off'
        ) AS amendments
    FROM visits
    LEFT JOIN people ON people.client_id = visits.client_id
    JOIN clients ON clients.id = coalesce(people.person_id, visits.client_id)
    JOIN assessors ON assessors.id = visits.assessor_id
    """,
    """
    CREATE VIEW amended_readings AS
    SELECT amendments.visit_id, amendments.number, reading_facts.site, reading_facts.circuit,
        reading_facts.value_tenths_mm / 10.0 AS value_mm, amendments.kind,
        amendments.value_tenths_mm / 10.0 AS amended_mm, amendments.at, amendments.by_name,
        amendments.reason, amendments.after_sign_off
    FROM amendments
    JOIN reading_facts ON reading_facts.visit_id = amendments.visit_id
        AND reading_facts.number = amendments.number
        AND reading_facts.sequence = amendments.number AND reading_facts.state = 'heard'
    """,
    """
    CREATE VIEW result_list AS
    SELECT results.visit_id, clients.name AS client, results.computed_at, results.sequence,
        (SELECT part.value FROM json_each(results.result, '$.sum') AS part
            WHERE part.key = 'sum_mm') AS sum_mm,
        (SELECT part.value FROM json_each(results.result, '$.fat') AS part
            WHERE part.key = 'fat_percent') AS fat_percent,
        (SELECT part.value FROM json_each(results.result, '$.fat') AS part
            WHERE part.key = 'standard_error_percent') AS standard_error_percent,
        (SELECT part.value FROM json_each(results.result, '$.equation') AS part
            WHERE part.key = 'id') AS equation
    FROM results
    JOIN visits ON visits.id = results.visit_id
    LEFT JOIN people ON people.client_id = visits.client_id
    JOIN clients ON clients.id = coalesce(people.person_id, visits.client_id)
    """,
)

STATEMENTS = (*_TABLES, *_INDEXES, *_TRIGGERS, *_VIEWS)
