"""What rendering costs, against floors and peers measured in the same run. `python -m benchmarks --help`."""
