"""Who may do what where: every address × every role × every method, as data."""
import time, pytest
from tests.doors import world as w
from django.test import Client
from tests.database import row_counts
@pytest.mark.django_db
def test_x():
    t=time.time(); x=w.build(); print("build", time.time()-t)
    a=w.addresses(x); print(len(a))
    u=w.all_rights(x)
    t=time.time()
    c=Client(); c.force_login(u)
    for n,l in a.items():
        for p in l:
            t1=time.time(); r=c.get(p); d=time.time()-t1
            if d>.1 or r.status_code!=200: print(n,p,r.status_code,round(d,2))
    print("crawl", time.time()-t)
    assert 0
