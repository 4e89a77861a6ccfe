#include "report/page.h"

namespace forewarm::report {

// Shape and height tell the bars apart as well as colour does; text is 7:1 on its ground, bars 3:1.
const std::string_view kStyle = R"(:root {
  --ground: #f5f3ee; --sheet: #fffefb; --ink: #23292c; --soft: #4d575b; --rule: #d6d1c6;
  --use: #24506b; --hold: #b4530d; --standby: #a8801c; --off: #7b8487; --preheat: #c02a4a;
  --wait: #6a35a3; --caution: #8a3b00; --caution-ground: #fdf0dc; --late: #f4ecfb;
}
@media (prefers-color-scheme: dark) {
  :root {
    --ground: #14191b; --sheet: #1c2326; --ink: #e6e7e2; --soft: #aab4b6; --rule: #364045;
    --use: #86bddd; --hold: #f0934a; --standby: #d3b157; --off: #7f8b90; --preheat: #ff7d8e;
    --wait: #c6a2f5; --caution: #ffcf8f; --caution-ground: #33271a; --late: #2b2438;
  }
}
* { box-sizing: border-box; }
body { margin: 0; background: var(--ground); color: var(--ink); line-height: 1.5;
  font: 16px/1.5 system-ui, "DejaVu Sans", sans-serif; }
main { max-width: 72rem; margin: 0 auto; padding: 1.5rem 1rem 4rem; }
h1 { font-size: 1.5rem; line-height: 1.25; margin: 0 0 .25rem; overflow-wrap: anywhere; }
h2 { font-size: 1.1rem; margin: 2.25rem 0 .6rem; }
h3 { font-size: 1rem; margin: 1.25rem 0 .5rem; }
header p { margin: 0; color: var(--soft); overflow-wrap: anywhere; }
.caution { margin: 1rem 0 0; padding: .6rem .9rem; border-left: .3rem solid var(--caution);
  background: var(--caution-ground); color: var(--ink); }
.caution strong { color: var(--caution); }
.note { color: var(--soft); font-size: .875rem; margin: .5rem 0 0; }
.tiles { display: grid; grid-template-columns: repeat(auto-fit, minmax(10rem, 1fr)); gap: 1px;
  margin: 0; background: var(--rule); border: 1px solid var(--rule); }
.tiles div { background: var(--sheet); padding: .7rem .9rem; }
.tiles dt { color: var(--soft); font-size: .875rem; }
.tiles dd { margin: 0; font-size: 1.3rem; font-variant-numeric: tabular-nums; }
.tiles dd.was { color: var(--soft); font-size: .875rem; }
.scroll { overflow-x: auto; border: 1px solid var(--rule); background: var(--sheet); }
table { border-collapse: collapse; width: 100%; font-size: .9rem;
  font-variant-numeric: tabular-nums; }
th, td { padding: .3rem .75rem; text-align: right; white-space: nowrap; vertical-align: top; }
th { text-align: left; font-weight: 600; }
thead th { color: var(--soft); font-weight: 500; border-bottom: 1px solid var(--rule); }
thead th.n { text-align: right; }
td.t { text-align: left; }
td.t:last-child { white-space: normal; min-width: 18rem; }
tbody tr + tr > * { border-top: 1px solid var(--rule); }
tr.bound > * { color: var(--soft); font-weight: 400; }
tr.force > * { font-weight: 600; }
tr.late > * { background: var(--late); }
tr.late td:nth-child(7) { color: var(--wait); font-weight: 600; }
details { margin-top: .75rem; }
summary { cursor: pointer; padding: .3rem 0; }
svg { display: block; width: 100%; min-width: 44rem; height: auto; }
svg text { fill: var(--ink); font-size: 12px; font-family: system-ui, "DejaVu Sans", sans-serif; }
svg .axis { fill: var(--soft); }
svg line { stroke: var(--rule); stroke-width: 1; }
.use { fill: var(--use); } .hold { fill: var(--hold); } .standby { fill: var(--standby); }
.off { fill: var(--off); } .preheat { fill: var(--preheat); } .wait { fill: var(--wait); }
.legend { display: flex; flex-wrap: wrap; gap: .25rem 1.25rem; list-style: none; margin: .6rem 0 0;
  padding: 0; font-size: .875rem; }
.legend li { display: flex; align-items: center; gap: .4rem; }
.legend svg { width: 24px; min-width: 24px; height: 26px; }
@media print {
  :root { --ground: #fff; --sheet: #fff; --ink: #000; --soft: #333; --rule: #bbb;
    --use: #24506b; --hold: #b4530d; --standby: #a8801c; --off: #7b8487; --preheat: #c02a4a;
    --wait: #6a35a3; --caution: #8a3b00; --caution-ground: #fff; --late: #fff; }
  main { max-width: none; padding: 0; }
  body { font-size: 12px; }
  .scroll { overflow: visible; border: 0; }
  svg { min-width: 0; print-color-adjust: exact; -webkit-print-color-adjust: exact; }
  h2, h3 { break-after: avoid; }
  tr, .tiles { break-inside: avoid; }
  thead { display: table-header-group; }
}
)";

}  // namespace forewarm::report
