# Two commands do everything: `make demo` and `make test`.
AIMGEO = .venv/bin/aimgeo
OUT = clips
DEMO = lessons/course/first-evening.yaml

.PHONY: course trial demo test lint generate bench editor oldest clean

demo: ## set up, render a lesson at draft size and cut it, with a scratch voice where espeak-ng is installed
	@sh setup.sh
	@mkdir -p $(OUT)
	@cp $(DEMO) $(OUT)/first-evening.yaml
	@! command -v espeak-ng >/dev/null || echo "recordings: {voice: espeak-ng}" >> $(OUT)/first-evening.yaml
	@$(AIMGEO) render $(OUT)/first-evening.yaml --out $(OUT)/first-evening --draft
	@$(AIMGEO) deliver $(OUT)/first-evening.yaml --out $(OUT)/first-evening --loudness -14
	@echo "The rough cut: $(OUT)/first-evening/first-evening.mp4. Its clips lie beside it."

course: ## set up, render the lesson of own methods, cards, balls and looks at draft size
	@sh setup.sh
	@$(AIMGEO) render lessons/course/ways-of-my-own.yaml --out $(OUT)/ways-of-my-own --draft

test: ## set up, lint, type-check, run the tests
	@sh setup.sh dev
	@$(MAKE) --no-print-directory lint
	@.venv/bin/python -m pytest -n auto

lint:
	@sh setup.sh dev
	@.venv/bin/ruff format --check -q .
	@.venv/bin/ruff check -q .
	@.venv/bin/mypy --no-error-summary

trial: ## what takes minutes: property tests on examples of the day, locked lengths and deliveries edited, method files written wrong, the live page at length in a browser
	@sh setup.sh dev
	@AIMGEO_SEARCH=400 .venv/bin/python -m pytest -q -n auto -m hypothesis
	@PYTHONPATH=. .venv/bin/python tests/lessons/mutations.py 5000
	@AIMGEO_EDITS=200 .venv/bin/python -m pytest -q tests/lessons/test_lengths.py tests/lessons/deliver/test_edits.py
	@.venv/bin/python -m pytest -q tests/lessons/live/trial_live.py

generate: ## write everything that is made from the code: the schema, tables of the docs
	@sh setup.sh dev
	@PYTHONPATH=. .venv/bin/python docs/generate.py

bench: ## measure speed and memory against floors and peers in the same run
	@sh setup.sh dev
	@.venv/bin/python -m benchmarks

editor: ## make the live page's editor from lessons/live/editor (needs node and npm)
	@cd lessons/live/editor && npm install --no-audit --no-fund --no-package-lock && npm run build && rm -rf node_modules

oldest: ## the declared lower bounds, installed in an environment of their own and tried (needs a network; minutes)
	@sh tests/oldest.sh

clean: ## remove the environment and everything rendered
	rm -rf .venv $(OUT)
