"""Every odd photo is read, or refused in three parts; none is a fault."""

import numpy as np
import pytest
from odd_photos import odd_photos

from snugline.errors import SnuglineError
from snugline.trace.image.photo_file import read_photo

ODD = odd_photos()


def test_there_are_sixty():
    assert len(ODD) >= 60


@pytest.mark.parametrize("name", ODD)
def test_an_odd_photo_is_read_or_refused_by_name(tmp_path, name):
    path = tmp_path / name
    path.write_bytes(ODD[name])
    photo, error = None, None
    try:
        photo = read_photo(path)
    except SnuglineError as caught:
        error = caught
    if photo is None:
        assert name in error.where
        assert str(error.what)
        assert str(error.mend)
    else:
        assert photo.rgb.dtype == np.uint8
        assert photo.rgb.shape == (photo.height, photo.width, 3)
        assert photo.width * photo.height > 0
