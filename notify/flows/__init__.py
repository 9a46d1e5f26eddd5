"""One file per thing a person, a clock or a system can do; one transaction each."""
