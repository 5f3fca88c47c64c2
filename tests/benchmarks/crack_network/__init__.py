"""An experiment: a small network that finds cracks, fitted on the generator's pictures.

Not part of the package. It finds more of the cracks on slabs than the package's
finder and draws cleaner ones, but is worse on spalted wood and on sawn boards,
and three times slower; DEVELOPERS.md has the figures. Fitting needs PyTorch:

    python -m tests.benchmarks.crack_network.train OUT --pieces 60000 --seconds 430
"""
