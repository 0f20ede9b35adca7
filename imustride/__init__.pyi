# What `imustride/__init__.py` gives by name, for checkers of types and for editors.
from imustride.alignment.blade import align as align
from imustride.cutting.stance import cut as cut
from imustride.interface import analyse as analyse
from imustride.interface import filters as filters
from imustride.interface import load as load
from imustride.interface import save as save
from imustride.kinematics import Gates as Gates
from imustride.loaders.sampling import regularise as regularise
from imustride.metrics.symmetry import MetricSymmetry as MetricSymmetry
from imustride.metrics.symmetry import symmetry_table as symmetry_table
from imustride.orientation.stance import Rest as Rest
from imustride.pipeline import analyse_logs as analyse_logs
from imustride.recording import SensorLog as SensorLog
from imustride.runs import move as move
from imustride.segmentation.contact import find_contacts as find_contacts
from imustride.segmentation.pushing import end_of_pushing as end_of_pushing
from imustride.session import Sensor as Sensor
from imustride.settings import Settings as Settings
from imustride.synchronisation.shocks import synchronise as synchronise
from imustride.trajectory.track import track as track

__version__: str
