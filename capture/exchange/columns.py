"""The columns of the table that is exported: one list for writing, reading and the dictionary."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name, what it says, its unit or form, and what may stand in it."""

    name: str
    meaning: str
    unit: str = ""
    values: str = "text"


COLUMNS = (
    Column("visit_id", "the visit", "", "UUID"),
    Column("visit_started_at", "when the visit began", "ISO 8601 with offset", "time"),
    Column("client_id", "the person measured", "", "UUID"),
    Column("client", "name of the client"),
    Column("sex", "sex of the client", "", "female, male"),
    Column("birth_date", "birth date of the client, empty if not known", "ISO 8601", "date"),
    Column("client_added_at", "when the client was added", "ISO 8601 with offset", "time"),
    Column("client_note", "note on the client"),
    Column("assessor_id", "the person who held the caliper", "", "UUID"),
    Column("assessor", "name of the assessor"),
    Column("assessor_added_at", "when the assessor was added", "ISO 8601 with offset", "time"),
    Column("program_version", "version of foldcall that began the visit"),
    Column("protocol", "the protocol; as in plan"),
    Column("age_years", "age at the visit; as in plan", "completed years", "whole number"),
    Column("caliper", "the caliper; as in plan"),
    Column("plan", "all that was settled before; in one row of the visit", "", "JSON object"),
    Column("reading", "number of the journal entry that heard the reading", "", "whole number"),
    Column("site", "site of the fold"),
    Column("circuit", "round of the sites, from 1; a third reading is 3", "", "whole number"),
    Column("value_mm", "the value as taken", "mm", "0.1 to 100.0, one decimal"),
    Column("state", "last state", "", "heard, confirmed, replaced, dropped, undone"),
    Column("counts_mm", "the value that counts, amendments included; else empty", "mm", "number"),
    Column("source", "how it came in", "", "voice, keypad, program"),
    Column("words", "the words as heard or the keys as struck"),
    Column("confidence", "the recogniser's probability, empty for keys", "0 to 1", "number"),
    Column("alternatives", "what else the recogniser held possible", "", "JSON array"),
    Column(
        "doubts", "why it was asked about, with the other value in mm", "", "such as rival 50.0"
    ),
    Column("cloth_mm", "one layer of the cloth it was taken through, else empty", "mm", "number"),
    Column("net_mm", "the value less the cloth, else empty", "mm", "number"),
    Column("dwell_s", "time from the cue 'jaws on' to the call, else empty", "s", "number"),
    Column("heard_at", "when it was heard", "ISO 8601 with offset", "time"),
    Column("changed_at", "when it came into its last state", "ISO 8601 with offset", "time"),
    Column("changed_entry", "number of the journal entry that did so", "", "whole number"),
    Column("amendments", "amendments of this reading, with who, when and why", "", "JSON array"),
    Column("signed_at", "when the assessor signed the visit off", "ISO 8601 with offset", "time"),
    Column("signed_entry", "number of that journal entry", "", "whole number"),
    Column("sign_offs", "sign-offs of the visit by name", "", "JSON array"),
)

NAMES = tuple(column.name for column in COLUMNS)
NAMES_BEFORE = tuple(name for name in NAMES if name != "dwell_s")
"""The columns of tables that were exported before the dwell was kept; they are read as well."""
