"""``python -m benchmarks.bench_simulator``."""

from benchmarks.bench_simulator.run import main

if __name__ == "__main__":
    main()
