"""Two general libraries for record linkage, on the FEBRL sets 4 and 3, with their best settings.

    .venv/bin/python -m tests.benchmarks.linkage_libraries

Given name, surname and date of birth alone, as for the engine (identity.py). Thresholds are the
best ones in hindsight, which nobody has in practice: this favours the libraries. `recordlinkage`
is shown with its unsupervised ECM classifier and with logistic regression, which was trained on
the true links of sets 1 and 2; `splink` with its DuckDB backend, trained without truth. Of several
settings that were tried those are kept that did best. Needs requirements-bench.txt.
"""

import logging
import sys
import time
from collections.abc import Callable
from typing import Any

import pandas as pd
import recordlinkage
import splink.comparison_level_library as levels
import splink.comparison_library as comparisons
from splink import Linker, SettingsCreator, block_on
from splink.backends.duckdb import DuckDBAPI

from tests.benchmarks import febrl
from tests.benchmarks.scores import Pair, Ranking, best

FIELDS = ("given", "family", "born")
Weights = dict[Pair, float]


def main() -> int:
    """Print a table of both libraries on both sets."""
    logging.disable(logging.WARNING)
    head = ("F1", "at", "precision", "recall", "first", "in three", "ms a claim")
    print(f"{'set, library':<50}" + "".join(f"{word:>11}" for word in head))
    ways: dict[str, Callable[[int], Weights]] = {
        "recordlinkage, ECM": by_ecm,
        "recordlinkage, logistic regression": by_logistic_regression,
        "splink": by_splink,
    }
    for number in (4, 3):
        for name, way in ways.items():
            started = time.perf_counter()
            weights = way(number)
            show(number, name, weights, time.perf_counter() - started)
    return 0


def show(number: int, name: str, weights: Weights, seconds: float) -> None:
    """Print the line of one library on one set."""
    originals, claims = febrl.read_set(number)
    within = originals is claims
    true = febrl.true_pairs(originals if within else [*originals, *claims])
    others: dict[str, list[tuple[float, str]]] = {record.record_id: [] for record in claims}
    partners: dict[str, set[str]] = {record.record_id: set() for record in claims}
    for (left, right), weight in weights.items():
        for mine, other in ((left, right), (right, left)):
            if mine in others:
                others[mine].append((-weight, other))
    for left, right in true:
        for mine, other in ((left, right), (right, left)):
            if mine in partners:
                partners[mine].add(other)
    ranking = Ranking()
    for mine, mates in partners.items():
        if mates:
            ranking.add([other for _, other in sorted(others[mine])[:5]], mates)
    pairs = best(weights, true)
    shares = (pairs.f1, pairs.threshold, pairs.precision, pairs.recall, *ranking.shares())
    print(
        f"{f'FEBRL {number}, {name}':<50}" + "".join(f"{share:>11.4f}" for share in shares), end=""
    )
    print(f"{seconds / len(claims) * 1000:>11.2f}", flush=True)


def frame(records: list[febrl.Record]) -> pd.DataFrame:
    """Return the records as a table, with None for what is missing."""
    rows = [
        (r.record_id, r.given_name or None, r.family_name or None, r.born or None) for r in records
    ]
    return pd.DataFrame(rows, columns=["unique_id", *FIELDS])


# recordlinkage


def compared(number: int) -> pd.DataFrame:
    """Return the likenesses of all pairs that share a name, sound near in order, or a date."""
    originals, claims = febrl.read_set(number)
    left, right = (frame(records).set_index("unique_id") for records in (originals, claims))
    index = recordlinkage.Index()
    for field in FIELDS:
        index.block(field)
    index.sortedneighbourhood("given", window=5)
    index.sortedneighbourhood("family", window=5)
    if originals is not claims:
        index.block("given", "family")
        index.block("family", "given")
        tables = [left, right]
    else:
        tables = [left]
    pairs = index.index(*tables)
    compare = recordlinkage.Compare()
    for field in ("given", "family"):
        compare.string(field, field, method="jarowinkler", label=field)
        compare.string(field, field, method="damerau_levenshtein", label=f"{field} edits")
        compare.exact(field, field, label=f"{field} equal")
    compare.string("given", "family", method="jarowinkler", label="crossed")
    compare.string("family", "given", method="jarowinkler", label="crossed back")
    compare.exact("born", "born", label="born equal")
    compare.string("born", "born", method="damerau_levenshtein", label="born edits")
    table: pd.DataFrame = compare.compute(pairs, *tables)
    if originals is claims:
        right = left
    for field in FIELDS:  # a missing field is neither like nor unlike
        ones = left[field].reindex(table.index.get_level_values(0)).isna().to_numpy()
        others = right[field].reindex(table.index.get_level_values(1)).isna().to_numpy()
        table[f"{field} missing"] = (ones | others).astype(float)
    return table


def by_ecm(number: int) -> Weights:
    """Expectation conditional maximisation on binary likenesses."""
    table = compared(number)
    binary = pd.DataFrame(
        {
            "given": (table["given"] >= 0.85).astype(int),
            "family": (table["family"] >= 0.85).astype(int),
            "born": (table["born edits"] >= 0.87).astype(int),
            "born equal": table["born equal"].astype(int),
        }
    )
    classifier = recordlinkage.ECMClassifier()
    classifier.fit(binary)
    chances = classifier.prob(binary)
    # Binary likenesses tie; the mean likeness orders what ECM calls equal.
    finer = table[["given", "family", "born edits"]].mean(axis=1) / 1000
    return weights_of(chances + finer)


def by_logistic_regression(number: int) -> Weights:
    """Logistic regression on graded likenesses, trained on the true links of sets 1 and 2."""
    known = [(compared(n), febrl.true_pairs(febrl.read_set(n)[0])) for n in (1, 2)]
    table = pd.concat([some for some, _ in known], keys=(1, 2))
    links = [
        (n, *two)
        for n, (some, true) in zip((1, 2), known, strict=True)
        for two in some.index
        if febrl.pair(*two) in true
    ]
    classifier = recordlinkage.LogisticRegressionClassifier(max_iter=1000)
    classifier.fit(table, pd.MultiIndex.from_tuples(links, names=table.index.names))
    mine = compared(number)
    finer = classifier.kernel.decision_function(mine.to_numpy())
    return weights_of(pd.Series(finer, index=mine.index))


def weights_of(series: "pd.Series[float]") -> Weights:
    """Return the weight of each pair, from a series with an index of two levels."""
    return {febrl.pair(*two): float(weight) for two, weight in series.items()}


# splink


def by_splink(number: int) -> Weights:
    """Fellegi-Sunter with term frequencies, trained by expectation maximisation."""
    originals, claims = febrl.read_set(number)
    within = originals is claims
    database = DuckDBAPI()
    tables = [database.register(frame(originals))]
    if not within:
        tables.append(database.register(frame(claims)))
    linker = Linker(
        tables if len(tables) > 1 else tables[0], settings("dedupe_only" if within else "link_only")
    )
    linker.training.estimate_probability_two_random_records_match(
        [
            block_on("given", "family", "born"),
            block_on("family", "born"),
            block_on("given", "born"),
        ],
        recall=0.7,
    )
    linker.training.estimate_u_using_random_sampling(max_pairs=5e6, seed=1)
    for rule in (block_on("born"), block_on("given", "family")):
        linker.training.estimate_parameters_using_expectation_maximisation(
            rule, record_sample_proportion=1.0
        )
    found: Any = linker.inference.predict(threshold_match_weight=-20)
    rows = found.as_pandas_dataframe()
    return {
        febrl.pair(left, right): float(weight)
        for left, right, weight in zip(
            rows["unique_id_l"], rows["unique_id_r"], rows["match_weight"], strict=True
        )
    }


def settings(link_type: Any) -> SettingsCreator:
    """Return the settings; columns that are exchanged count as a level of their own."""
    return SettingsCreator(
        link_type=link_type,
        comparisons=[
            name_levels("given", "family"),
            name_levels("family", "given"),
            comparisons.CustomComparison(
                output_column_name="born",
                comparison_levels=[
                    levels.NullLevel("born"),
                    levels.ExactMatchLevel("born"),
                    levels.DamerauLevenshteinLevel("born", 1),
                    levels.DamerauLevenshteinLevel("born", 2),
                    levels.ElseLevel(),
                ],
            ),
        ],
        blocking_rules_to_generate_predictions=[
            block_on("born"),
            block_on("given"),
            block_on("family"),
            *CROSSWISE,
            block_on("substr(born, 1, 6)", "substr(family, 1, 2)"),
            block_on("substr(born, 5, 4)", "substr(family, 1, 2)"),
            block_on("substr(given, 1, 2)", "substr(family, 1, 2)"),
            block_on("substr(born, 1, 4)", "substr(given, 1, 2)"),
            block_on("substr(born, 5, 4)", "substr(given, 1, 2)"),
            block_on("substr(born, 1, 4)", "substr(family, 1, 2)"),
        ],
    )


# The library takes SQL as well as its own rules.
CROSSWISE: list[Any] = ["l.given = r.family", "l.family = r.given"]


def name_levels(field: str, other: str) -> Any:
    """Return how one name is compared."""
    return comparisons.CustomComparison(
        output_column_name=field,
        comparison_levels=[
            levels.NullLevel(field),
            levels.ExactMatchLevel(field, term_frequency_adjustments=True),
            levels.ColumnsReversedLevel(field, other),
            levels.DamerauLevenshteinLevel(field, 1),
            levels.JaroWinklerLevel(field, 0.88),
            levels.JaroWinklerLevel(field, 0.7),
            levels.ElseLevel(),
        ],
    )


if __name__ == "__main__":
    sys.exit(main())
