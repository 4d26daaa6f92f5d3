package workflow
import ("testing";"time";"slices";"fmt";"database/sql")
func TestZZScale(t *testing.T){
 svc,dsn := openService(t); s:=siteOn(t,svc)
 s.makes("X"); s.reads(cooked("T-1", march(3, 7, 0), 80, "X")); s.fails("T-1", march(5,6,0))
 db:=superuser(t,dsn)
 ex:=func(q string){ if _,err:=db.Exec(q);err!=nil{t.Fatal(err)} }
 ex(fmt.Sprintf(`insert into lot(plant_id,code,registered,quantity,quantity_unit) select %d,'Q-'||g,true,1000000,'kg' from generate_series(1,100000) g`, s.sc.Plant))
 ex(`insert into portion(plant_id,lot_id) select plant_id,lot_id from lot where code like 'Q-%'`)
 ex(`insert into transformation select a.plant_id,a.lot_id,b.lot_id,'e'||a.lot_id||b.lot_id,now(),1,1,'kg',now() from lot a join lot b on b.plant_id=a.plant_id and b.code in ('Q-'||(substr(a.code,3)::int*2),'Q-'||(substr(a.code,3)::int*2+1),'Q-'||(substr(a.code,3)::int*3)) where a.code like 'Q-%'`)
 ex(`insert into hold(plant_id,portion_id,deviation_id,because_of_lot_id,placed_at,placed_by) select plant_id,portion_id,1,lot_id,now(),'x' from portion where portion_id%10=0`)
 ex(`update portion p set state='on_hold' from hold h where h.portion_id=p.portion_id`)
 run:=func(name string){
 var d []time.Duration
 yes:=0
 for i:=range 300 { b:=time.Now(); a,err:=s.MayShip(s.ctx,s.sc,GateQuestion{Items:[]GateItem{{Lot:fmt.Sprint("Q-",50000+i*133)}}}); s.must(err); d=append(d,time.Since(b)); if a.MayShip{yes++} }
 slices.Sort(d); t.Log(name,d[150],d[297],yes)}
 run("before analyze, due")
 ex("analyze"); run("analyzed, due"); 
 s.trace(s.deviationsOf("T-1")[0])
 run("analyzed, not due"); run("again")
 _ = sql.ErrNoRows
}
