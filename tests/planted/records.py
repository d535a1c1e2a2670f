"""Errors in what files, draws and identities record."""

from __future__ import annotations

from planted.entry import PlantedError

DIGEST = "tests/flight/test_law_digest.py::"
REFLY = "tests/ensemble/test_refly.py::"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "closure of a law forgotten",
        "flight/law_digest.py",
        "cells = [cell.cell_contents for cell in function.__closure__ or () if _is_filled(cell)]",
        "cells = []",
        "two laws made by one function with other gains are taken for one: their flights are mixed",
        DIGEST + "test_different_laws__have_different_digests",
    ),
    PlantedError(
        "globals of a law forgotten",
        "flight/law_digest.py",
        "self.of(state), self._names(function))",
        "self.of(state))",
        "a law whose table or helper has changed goes on with the flights of the other",
        DIGEST + "test_global__of_the_law_and_of_what_it_calls",
    ),
    PlantedError(
        "seed left out of the seal",
        "results/dataset.py",
        'names = ("mission", "seed", "sampling", "guidance", "control")',
        'names = ("mission", "sampling", "guidance", "control")',
        "a flight with sensors is flown again with the noise of another seed, without a word",
        REFLY + "test_refly__of_an_ensemble_whose_attributes_were_changed",
    ),
    PlantedError(
        "draws not held against the seed",
        "flight/fly.py",
        "if name not in table or not np.allclose(drawn[name].values, table[name].values, *ROUNDING)]",
        "if name not in table]",
        "two ensembles put into one are flown again with the seed of the first",
        REFLY + "test_refly__of_two_ensembles_in_one",
    ),
)
