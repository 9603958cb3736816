"""What was added so that thousands of visits are listed at once: a kept brief of each visit.

Never edited after release. `briefs` is worked out from the journal and the amendments, as the
review last saw them; whatever is added to these removes it, by whichever program. It holds no
name, is in no export, and may be emptied at any time.
"""

_GONE = "BEGIN DELETE FROM briefs WHERE visit_id = NEW.visit_id; END"

STATEMENTS = (
    """
    CREATE TABLE briefs (
        visit_id TEXT NOT NULL PRIMARY KEY REFERENCES visits (id),
        rules INTEGER NOT NULL,
        brief TEXT NOT NULL
    ) STRICT
    """,
    *(
        f"CREATE TRIGGER {table}_ends_brief AFTER INSERT ON {table} {_GONE}"
        for table in ("journal", "reading_facts", "amendments")
    ),
)
