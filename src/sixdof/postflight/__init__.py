"""After the flight: what happened, where to search, does the model still hold.

    seen = sixdof.postflight.camera("camera.toml", mission=mission)   # where a camera stood and looked, from landmarks
    video = sixdof.postflight.from_video(seen, "frames.csv")          # pixels to angles; which frames can tell an incidence

Each step gives a Dataset; `sixdof.report` makes its page.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sixdof.surface.lazy import show

if TYPE_CHECKING:
    from sixdof.postflight.video.camera import camera as camera
    from sixdof.postflight.video.frames_of import frames_of as frames_of
    from sixdof.postflight.video.from_video import from_video as from_video

show(__name__, {"From video": ("camera", "from_video", "frames_of")})
