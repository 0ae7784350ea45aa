"""Pure formulas: floats in and out, units in the names, a source beside every constant."""
