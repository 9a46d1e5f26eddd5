# Each target is one line: bootstrap.py does the work, so that make is not needed.
PYTHON ?= python3
COMMANDS = demo install test quick lint benchmark deep lock

.PHONY: help $(COMMANDS)
help: ; @$(PYTHON) bootstrap.py || true
$(COMMANDS): ; @$(PYTHON) bootstrap.py $@ $(ARGS)
