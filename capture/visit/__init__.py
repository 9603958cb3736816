"""One client measured on one occasion: the state, the machine that steps it, its replay."""
