import sys,time
from tests.analysis.coverage import cells,cover
from journal.analysis.run.find import find_run
from journal.analysis.settings import default_settings
S=default_settings()
def find(run,engine):
    f=find_run(run,engine,S)
    return f.trusted,[(c.cylinder,c.low,c.high,str(c.standing)) for c in f.contributions]
E=int(sys.argv[1]); 
t=time.time()
for cell in cells()[int(sys.argv[2])::int(sys.argv[3])]:
    c=cover(cell,E,1,find)
    print(f"{cell.name:55s} cov {c.share:5.1f} dis {c.distrusted:3d}/{c.runs} acc {c.accused}/{c.healthy} dead {c.dead} found {c.found}/{c.low} missed {c.missed} w {c.width/c.cylinders:.3f}",flush=True)
print(time.time()-t)
