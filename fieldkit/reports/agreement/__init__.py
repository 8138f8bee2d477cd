"""How far recorders agree who saw the same coral on the same visit: for training, never for blame.

docs/agreement.md explains it.
"""

from fieldkit.reports.agreement.answer import (
    Agreement,
    FieldAgreement,
    Month,
    RecorderAgreement,
    Repeats,
    agreement,
    as_json,
)
from fieldkit.reports.agreement.compared import Compared
from fieldkit.reports.agreement.kappa import Kappa, kappa, pooled_kappa
from fieldkit.reports.agreement.limits import Differences, differences
from fieldkit.reports.agreement.practice import Score

__all__ = [
    "Agreement",
    "Compared",
    "Differences",
    "FieldAgreement",
    "Kappa",
    "Month",
    "RecorderAgreement",
    "Repeats",
    "Score",
    "agreement",
    "as_json",
    "differences",
    "kappa",
    "pooled_kappa",
]
