"""After the flight: what happened, where to search, does the model still hold.

    log = sixdof.postflight.read_log("log.csv", "map.toml", mission)  # a flight log under the timeline's names, aligned to liftoff
    print(sixdof.report(log))                                          # what is in it, what was wrong, what was done about it
    sixdof.postflight.record(sixdof.postflight.listen(4567), "flight.rec", site=mission)    # telemetry as it comes, safe against a kill
    last = sixdof.postflight.last_position("flight.rec", "now")       # where it was last, how old that is, how it was moving
    seen = sixdof.postflight.camera("camera.toml", mission=mission)   # where a camera stood and looked, from landmarks
    video = sixdof.postflight.from_video(seen, "frames.csv")          # pixels to angles; which frames can tell an incidence
    found = sixdof.postflight.compare_log(mission, log)               # does the model hold, how far, what to look at first
    found = sixdof.postflight.estimate(mission, log, ["aero.drag", "motor.impulse"])   # what the log says of the model, and how surely
    mission = sixdof.postflight.with_estimated(mission, found)        # the next ensemble is drawn from it
    found = sixdof.postflight.what_happened(mission, "evidence.toml")  # hypotheses against pings, packets, silence, sightings, finds
    area = sixdof.postflight.search_map(found)                        # how probable each patch of ground is to hold each body
    plan = sixdof.postflight.next_strips(area, cover="grass")         # where to walk first, hour by hour

Each step gives a Dataset; `sixdof.report` makes its page.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sixdof.surface.lazy import show

if TYPE_CHECKING:
    from sixdof.postflight.compare.compare import compare_log as compare_log
    from sixdof.postflight.estimation.estimate import estimate as estimate
    from sixdof.postflight.estimation.hold_back import hold_back as hold_back
    from sixdof.postflight.estimation.with_estimated import estimate_toml as estimate_toml
    from sixdof.postflight.estimation.with_estimated import with_estimated as with_estimated
    from sixdof.postflight.hypotheses.evidence import evidence_keys as evidence_keys
    from sixdof.postflight.hypotheses.evidence import read_evidence as read_evidence
    from sixdof.postflight.hypotheses.what_happened import what_happened as what_happened
    from sixdof.postflight.logs.columns.proposing import column_map as column_map
    from sixdof.postflight.logs.read_log import read_log as read_log
    from sixdof.postflight.logs.rest import gyro_bias as gyro_bias
    from sixdof.postflight.logs.writing import log_of as log_of
    from sixdof.postflight.recording.last import last_position as last_position
    from sixdof.postflight.recording.packet import Packet as Packet
    from sixdof.postflight.recording.packet import datagram as datagram
    from sixdof.postflight.recording.recorded_log import recorded_log as recorded_log
    from sixdof.postflight.recording.recorder import Recorder as Recorder
    from sixdof.postflight.recording.recording import read_recording as read_recording
    from sixdof.postflight.recording.replaying import replay as replay
    from sixdof.postflight.recording.sources.following import follow as follow
    from sixdof.postflight.recording.sources.listening import listen as listen
    from sixdof.postflight.recording.sources.simulated import simulated_packets as simulated_packets
    from sixdof.postflight.recording.under_way import record as record
    from sixdof.postflight.recording.under_way import send_packets as send_packets
    from sixdof.postflight.search.export import search_geojson as search_geojson
    from sixdof.postflight.search.export import search_gpx as search_gpx
    from sixdof.postflight.search.export import search_kml as search_kml
    from sixdof.postflight.search.next_strips import next_strips as next_strips
    from sixdof.postflight.search.search_map import search_map as search_map
    from sixdof.postflight.search.with_walked import with_walked as with_walked
    from sixdof.postflight.video.band import video_band as video_band
    from sixdof.postflight.video.camera import camera as camera
    from sixdof.postflight.video.frames_of import frames_of as frames_of
    from sixdof.postflight.video.from_video import from_video as from_video
    from sixdof.postflight.video.sightings import sightings_of as sightings_of
    from sixdof.postflight.video.swing_of import swing_of as swing_of

show(
    __name__,
    {
        "Logs": ("column_map", "read_log", "gyro_bias", "log_of"),
        "Telemetry": (
            *("record", "Recorder", "listen", "follow", "read_recording", "last_position", "recorded_log"),
            *("replay", "simulated_packets", "send_packets", "datagram", "Packet"),
        ),
        "Does the model hold": ("compare_log",),
        "Parameters": ("estimate", "with_estimated", "estimate_toml", "hold_back"),
        "What happened": ("what_happened", "read_evidence", "evidence_keys"),
        "Where to search": ("search_map", "with_walked", "next_strips", "search_geojson", "search_kml", "search_gpx"),
        "From video": ("camera", "from_video", "video_band", "swing_of", "sightings_of", "frames_of"),
    },
)
