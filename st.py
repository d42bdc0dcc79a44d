import sys
from tests.analysis.study import *
if sys.argv[1]=='study': f=study(int(sys.argv[2]),seed=1)
elif sys.argv[1]=='once': f=study(int(sys.argv[2]),seed=2,passes=1)
else: f=coarse_study(int(sys.argv[2]),passes=int(sys.argv[3]))
for k in KINDS:
    for b in (*BANDS,'half low'):
        r=f.ours.of.get(f'{k} {b}',{})
        if r: print(k,b,dict(sorted(r.items())), 'rule',f.rule.of.get(f'{k} {b}'))
print('cov',100*f.covered/f.cylinders,'dis',f.distrusted,f.runs)
