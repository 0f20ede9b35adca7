"""Every threshold of an analysis in one place, in physical units; each stage documents its own."""

from __future__ import annotations

from dataclasses import dataclass, field

from imustride.alignment.fitting import FittingSettings
from imustride.alignment.heading import HeadingSettings
from imustride.alignment.motion import BladeSettings
from imustride.cutting.stance import StanceSettings
from imustride.cutting.standing import StandingSettings
from imustride.metrics.systematic import SystematicSettings
from imustride.quality.judging import QualitySettings
from imustride.segmentation.contact import ContactSettings
from imustride.segmentation.pushing import PushingSettings
from imustride.synchronisation.shocks import ShockSettings
from imustride.trajectory.settings import TrackSettings


@dataclass(frozen=True, slots=True)
class Settings:
    """Settings of all stages; `orientation` names a filter."""

    orientation: str = "strapdown"
    stance: StanceSettings = field(default_factory=StanceSettings)
    shocks: ShockSettings = field(default_factory=ShockSettings)
    blade: BladeSettings = field(default_factory=BladeSettings)
    contact: ContactSettings = field(default_factory=ContactSettings)
    pushing: PushingSettings = field(default_factory=PushingSettings)
    quality: QualitySettings = field(default_factory=QualitySettings)
    systematic: SystematicSettings = field(default_factory=SystematicSettings)
    track: TrackSettings = field(default_factory=TrackSettings)
    standing: StandingSettings = field(default_factory=StandingSettings)
    fitting: FittingSettings = field(default_factory=FittingSettings)
    heading: HeadingSettings = field(default_factory=HeadingSettings)
