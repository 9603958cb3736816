"""From confirmed readings to a sum of folds, a density and a careful fat percent. All pure."""
