import numpy as np
import pytest
import xarray as xr

import sixdof
from sixdof.results.registry import REGISTRY
from sixdof.results.retired import RETIRED, now_called
from sixdof.study.reading.result import need_result
from sixdof.study.variants.subjects import subject


@pytest.fixture
def older(tmp_path):
    """A result as an older version stored it."""
    ds = xr.Dataset(
        {"apogee": ("flight", [100.0, 120.0]), "event_time": (("flight", "event"), np.ones((2, 3)))},
        {"flight": [0, 1], "event": ["apogee", "open main", "drag_parting"]},
    )
    path = tmp_path / "older.nc"
    ds.to_netcdf(path)
    return path


def test_retired__every_new_name_stands_and_no_old_one_does():
    readings = {name for name in RETIRED.values() if name.startswith(("commanded_", "specific_force_", "ignition_", "separation_", "deployment_"))}
    assert set(RETIRED.values()) - readings <= set(REGISTRY)
    assert not set(RETIRED) & set(REGISTRY)


def test_open_result__an_older_file_gets_the_names_of_this_version(older):
    with pytest.warns(UserWarning, match='its "apogee" is now called "apogee_height", and it is read with these names'):
        ds = sixdof.open_result(older)
    assert ds["apogee_height"].values.tolist() == [100.0, 120.0] and "apogee" not in ds
    assert ds["event"].values.tolist() == ["apogee", "deployment main", "drag_separation"]


def test_need_result__an_older_file_opened_by_another_reader_is_answered(older):
    with xr.open_dataset(older) as ds, pytest.raises(ValueError, match="an older version called it 'apogee': read the file with sixdof.open_result"):
        need_result(ds, "plot", "apogee_height")


@pytest.mark.parametrize(("old", "new"), [("apogee", "apogee_height"), ("max_speed", "airspeed_max")])
def test_subject__an_old_name_is_answered_with_the_new_one(old, new):
    assert now_called(old) == f'"{old}" is now called "{new}"'
    with pytest.raises(ValueError, match=f'there is no outcome "{old}"; "{old}" is now called "{new}"'):
        subject(old)
