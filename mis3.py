import numpy as np,sys
from tests.analysis import misheard as M
import journal.analysis.run.doubt as D
from journal.analysis.run.find import find_run
from tests.analysis.simulator import *
from journal.analysis.settings import settings_from_toml
S=settings_from_toml("[wrong]\nsaid=0.0001")
import math
last=[None]
orig=D._probability if hasattr(D,'_probability') else None
rng=np.random.default_rng(7)
P={'clean':[],'large':[],'small':[]}
def p_of(run,e):
    last[0]=0.0
    f=find_run(run,e,S)
    return (D.LAST if f.suspects else 0.0), f
for n in (4,6,8):
    bench=draw_bench(n,int(sys.argv[1]),7+n,passes=1,settle_seconds=9.0)
    e=engine_of(bench)
    for r,run in enumerate(as_runs(bench,run_bench(bench,7))):
        p,f=p_of(run,e); P['clean'].append(p)
        pl=M._plant(run,rng)
        if pl is None: continue
        wrong,said,entry=pl
        x=next(q for q in (*wrong.baselines,*wrong.cuts) if q.entry==entry)
        p,f=p_of(wrong,e)
        P['large' if abs(x.value-said)>=.1*said else 'small'].append(p)
for t in (.02,.05,.1,.2,.3,.5):
    print(t,{k:(sum(v>=t for v in vs),len(vs)) for k,vs in P.items()})
