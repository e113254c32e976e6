from tests import make
def test_smoke(crew):
    lot = make.filled(crew)
    assert len(make.bottles_of(lot)) == 2
