# The whole list of commands; CI runs exactly these.
.PHONY: demo test check ci bench clean setup-demo setup-test
VENV := .venv/bin

demo: setup-demo          ## render the demo and say where the listening page is
	$(VENV)/klangprobe hear demo/weathercock.yaml --out demo/out

test: setup-test          ## the whole test suite
	$(VENV)/pytest

check: setup-test         ## lint, format of imports, types, the one-way contract
	$(VENV)/ruff check .
	$(VENV)/mypy
	$(VENV)/lint-imports

ci: check test            ## what .ci/run does

SPEED := reading_speed arranging rendering comparing page hearing
bench: setup-test         ## speed, as ratios in one run each; the other scripts in bench/ measure against people's labels
	for name in $(SPEED); do $(VENV)/python bench/$$name.py || exit 1; done

clean:
	rm -rf .venv demo/out .pytest_cache .mypy_cache .ruff_cache .hypothesis

setup-demo:
	@tools/setup.sh demo

setup-test:
	@tools/setup.sh test
