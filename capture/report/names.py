"""Names of the journal in words."""


def spaced(name: str) -> str:
    """A site, reason or kind as it is written for people.

    >>> spaced("iliac_crest")
    'iliac crest'
    """
    return name.replace("_", " ")
