"""What was added so that the views show how long the jaws were on when a reading was called.

Never edited after release. Only views are made anew: `dwell_s` is read from the journal, where
entries of before have none.
"""

STATEMENTS = (
    "DROP VIEW confirmed_readings",
    "DROP VIEW readings",
    """
    CREATE VIEW readings AS
    SELECT
        last.visit_id, last.number, last.reading_id, clients.name AS client,
        last.site, last.circuit, last.value_tenths_mm / 10.0 AS value_mm, last.state,
        heard.at AS heard_at, changed.at AS changed_at,
        heard.words, heard.confidence, heard.source,
        (SELECT part.value FROM json_tree(heard.facts) AS part
            WHERE instr(heard.facts, '"dwell_s"') > 0 AND part.key = 'dwell_s' LIMIT 1
        ) AS dwell_s,
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
)
