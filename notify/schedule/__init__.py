"""When things are done, never what: the table of timed jobs and the ticker that runs them."""
