"""How the network of crackmap/survey/crack_network.onnx is fitted: on the generator's pictures, by PyTorch.

Using crackmap needs none of this. One command fits and writes OUT/crack_network.onnx,
on a GPU where there is one:

    python -m tests.benchmarks.crack_network.train OUT --pieces 120000 --seconds 1000 [--boards DIR]

`--boards` names a folder of photographs of real boards with traced cracks, in the form that
bench_cracks reads; half of them is fitted on, and the other half judges.
"""
