"""Errors in what records telemetry and reads it: disk, checksum, clocks, losses, the last position."""

from __future__ import annotations

from planted.entry import PlantedError

RECORDER = "tests/postflight/recording/test_recorder.py::"
LINK = "tests/postflight/recording/test_link.py::"
RECORDING = "tests/postflight/recording/test_recording.py::"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "telemetry: acknowledged before it is on the disk",
        "postflight/recording/recorder.py",
        "                os.fsync(self._file)\n",
        "                pass\n",
        "a packet is said to be safe while it is in memory only",
        RECORDER + "test_each_acknowledgement__asks_the_disk_once",
    ),
    PlantedError(
        "telemetry: a checksum that nobody compares",
        "postflight/recording/lines.py",
        "_framed(parts[2][:-1]) != line:",
        "_framed(parts[2][:-1])[:4] != line[:4]:",
        "a record of the right length is taken for intact whatever its bytes",
        RECORDER + "test_byte_changed_anywhere__costs_its_record_alone_and_is_said",
    ),
    PlantedError(
        "telemetry: an end cut a record too far",
        "postflight/recording/recorder.py",
        "found, end = piece.record, piece.end",
        "found, end = piece.record, end if piece.record['n'] else piece.end",
        "intact records are cut with the half-written end of the file",
        RECORDER + "test_half_written_end__is_cut_kept_and_said",
    ),
    PlantedError(
        "telemetry: the other clock is fast",
        "postflight/recording/clocks.py",
        "return 1.0 / (1.0 + slope) - 1.0",
        "return slope",
        "a sender's clock that runs fast is said to run slow",
        LINK + "test_clock__is_that_of_a_link_without_jitter",
    ),
    PlantedError(
        "telemetry: bursts without the time between them",
        "postflight/recording/sources/link.py",
        "to_bad = to_good * bad / (1.0 - bad)",
        "to_bad = to_good * bad",
        "a link of two states loses less than it is told to: Gilbert's p/(p + r) forgotten",
        LINK + "test_gilbert__loses_its_share_in_bursts_of_its_length",
    ),
    PlantedError(
        "telemetry: a step of one packet is a loss",
        "postflight/recording/loss.py",
        "np.maximum(step.astype(int) - 1, 0)",
        "np.maximum(step.astype(int), 0)",
        "every packet that came in its turn counts as one lost",
        LINK + "test_loss__counts_lost_repeated_and_late_by_hand",
    ),
    PlantedError(
        "telemetry: the last to come is the last known",
        "postflight/recording/last.py",
        "rows[np.argmax(when[rows])]",
        "rows[-1]",
        "a packet that was late on its way is taken for where the body was last",
        RECORDING + "test_last_position__is_the_one_sent_last_not_the_one_that_came_last",
    ),
    PlantedError(
        "telemetry: the place at the other end of a silence",
        "postflight/recording/recording.py",
        "values[: row + 1]",
        "values[: row + 2]",
        "where the body was as a silence began is where it was as the silence ended",
        RECORDING + "test_silence__is_where_packets_are_missing",
    ),
)
