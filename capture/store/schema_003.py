"""What was added so that each client keeps an equation, a conversion and what they may be shown.

Never edited after release. Clients of an older store get what held for everybody before: no
choice of their own, and everything shown.
"""

_CHOICES = (
    # An id of the registry of equations; the registry grows, so that the file does not list them.
    "equation TEXT CONSTRAINT equation_is_not_blank CHECK (trim(equation) <> '')",
    "conversion TEXT CONSTRAINT conversion_is_not_blank CHECK (trim(conversion) <> '')",
    "show_fat_percent INTEGER NOT NULL DEFAULT 1"
    " CONSTRAINT show_fat_percent_is_yes_or_no CHECK (show_fat_percent IN (0, 1))",
    "show_norms INTEGER NOT NULL DEFAULT 1"
    " CONSTRAINT show_norms_is_yes_or_no CHECK (show_norms IN (0, 1))",
)

STATEMENTS = tuple(
    f"ALTER TABLE {table} ADD COLUMN {choice}"
    for table in ("clients", "client_edits")
    for choice in _CHOICES
)
