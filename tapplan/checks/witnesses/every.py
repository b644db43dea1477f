"""What shows a finding: for each family a few small types, with every number and name that its sentence tells.

A witness lets a person compute the case again. A field is None only where the thing itself can be missing.
"""

from tapplan.checks.witnesses.carried import OfLoad
from tapplan.checks.witnesses.counted import OfCounts
from tapplan.checks.witnesses.coverage import OfCoverage
from tapplan.checks.witnesses.file import OfTheFile
from tapplan.checks.witnesses.moving import OfMotion
from tapplan.checks.witnesses.states import OfStates
from tapplan.checks.witnesses.table import OfTheTable

Witness = OfCoverage | OfTheTable | OfStates | OfMotion | OfCounts | OfLoad | OfTheFile

__all__ = ["Witness"]
