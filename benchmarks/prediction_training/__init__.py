"""What trains the propeller prediction and judges it: needed to remake its tables, and by nobody who predicts.

Enter: a folder of measured propellers. Leave: the tables in ``propmatch_datasets.prediction``, and how well propellers
that were left out are predicted. Run by ``benchmarks/fit_prediction.py`` and ``benchmarks/propeller_accuracy.py``; no
part of the wheel.
"""
