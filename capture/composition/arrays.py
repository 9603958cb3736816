"""The one function that plain arithmetic does not carry over to arrays.

Every other formula here uses only + - * / and comparisons, so an array of sums in place of one
sum gives an array of results, element by element. A logarithm needs the array's own library; it
is asked of the array itself, so that nothing is imported here.
"""

import math


def log10(value: float) -> float:
    """Logarithm to the base ten, of a number or of every number in an array.

    An array answers `__array_namespace__`, as the Python array API standard has it (numpy from
    version 2). The annotation names the plain case. A number that is not above zero is a
    ValueError; an array does with it what its library does.

    >>> log10(1000.0)
    3.0
    """
    namespace = getattr(value, "__array_namespace__", None)
    if namespace is None:
        return math.log10(value)
    result: float = namespace().log10(value)
    return result
