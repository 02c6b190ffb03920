"""The forecast of a live pour: what its readings say of its unknowns, and what comes next."""
