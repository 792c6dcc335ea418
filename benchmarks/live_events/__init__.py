"""How much of what comes and goes a live watch tells, how soon, and what it costs while nothing happens."""
