"""The mission: what the user wrote, checked and explained."""

from __future__ import annotations

from sixdof.mission.errors import Fault, MissionError
from sixdof.mission.load import build_mission, load_mission, loads_mission

__all__ = ["Fault", "MissionError", "build_mission", "load_mission", "loads_mission"]
