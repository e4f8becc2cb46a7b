use sayback::edge::ear::*;
use sayback::hear::*;
fn main() {
    let a: Vec<String> = std::env::args().skip(1).collect();
    let e = |n: &str, d: f32| {
        std::env::var(n)
            .ok()
            .and_then(|v| v.parse().ok())
            .unwrap_or(d)
    };
    let c = Costs::default();
    let costs = Costs {
        first: e("FIRST", c.first),
        further: e("FURTHER", c.further),
        other: e("OTHER", c.other),
        other_further: e("OF", c.other_further),
        garbage_first: e("GF", c.garbage_first),
        garbage_further: e("GN", c.garbage_further),
        nothing: e("NOTHING", c.nothing),
    };
    let model =
        std::env::var("MODEL").map_or(ModelChoice::BuiltIn, |m| ModelChoice::Folder(m.into()));
    let ear = Ear::open(&model).unwrap().with_costs(costs);
    let o = TableOptions {
        model,
        each: std::env::var("EACH").is_ok(),
        word_list: std::env::var("LIST").is_ok(),
    };
    let t = std::time::Instant::now();
    run_table_with(ear, a[0].as_ref(), &o, &mut std::io::stdout().lock()).unwrap();
    let rss = std::fs::read_to_string("/proc/self/status").unwrap();
    let rss: Vec<&str> = rss
        .lines()
        .filter(|l| l.starts_with("VmHWM") || l.starts_with("VmRSS"))
        .collect();
    eprintln!("{:?} {:?}", t.elapsed(), rss);
}
