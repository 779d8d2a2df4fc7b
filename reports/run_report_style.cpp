#include "reports/run_report_style.hpp"

namespace rig {

std::string_view run_report_style() {
  return R"css(
:root { color-scheme: light; --ink: #1a1d21; --soft: #4a5159; --line: #d5d8dc; --ground: #ffffff; --wash: #f4f5f6;
  --pass: #0b5d57; --fail: #9c2206; --undecided: #75510a; --void: #4d4470; }
* { box-sizing: border-box; }
html { background: var(--wash); -webkit-text-size-adjust: 100%; }
body { margin: 0 auto; max-width: 1280px; padding: 0 40px 48px; background: var(--ground); color: var(--ink);
  font: 15px/1.5 "DejaVu Sans", "Segoe UI", "Helvetica Neue", Arial, sans-serif; font-variant-numeric: tabular-nums; }
h1, h2, h3, p, dl, dd, figure, ul, ol { margin: 0; padding: 0; font-weight: inherit; }
code { font: 0.88em/1.4 "DejaVu Sans Mono", Menlo, Consolas, monospace; overflow-wrap: anywhere; }
.pass { color: var(--pass); } .fail { color: var(--fail); } .undecided { color: var(--undecided); } .void { color: var(--void); }
.top { display: flex; flex-wrap: wrap; justify-content: space-between; gap: 4px 24px; padding: 20px 0 14px;
  border-bottom: 1px solid var(--line); color: var(--soft); font-size: 13px; }
.top b { color: var(--ink); letter-spacing: 0.02em; }
.verdict { display: grid; grid-template-columns: auto 1fr; align-items: center; gap: 6px 44px; padding: 44px 0 36px; }
.verdict .mark { width: 176px; height: 176px; display: block; }
.verdict h1 { font-size: 124px; line-height: 1; font-weight: 700; letter-spacing: -0.03em; margin-left: -0.05em; }
.verdict .unit { color: var(--ink); font-size: 34px; line-height: 1.25; margin-top: 14px; overflow-wrap: anywhere; }
.verdict .unit small { font-size: 17px; color: var(--soft); margin-right: 6px; }
.reason { font-size: 21px; line-height: 1.45; max-width: 46em; padding: 0 0 28px; overflow-wrap: anywhere; }
.barred { font-weight: 600; }
.caution { border-left: 3px solid var(--ink); padding: 2px 0 2px 14px; color: var(--soft); font-size: 13px; max-width: 74em; }
.facts { display: grid; grid-template-columns: repeat(auto-fill, minmax(250px, 1fr)); gap: 18px 32px; padding: 26px 0;
  border-top: 1px solid var(--line); border-bottom: 1px solid var(--line); margin-bottom: 28px; }
.facts div { min-width: 0; }
.facts dt { color: var(--soft); font-size: 12.5px; }
.facts dd { overflow-wrap: anywhere; }
section { padding-top: 40px; }
h2 { font-size: 24px; line-height: 1.3; font-weight: 600; letter-spacing: -0.01em; padding-bottom: 4px; }
h3 { font-size: 17px; font-weight: 600; padding: 26px 0 6px; }
.lead, .note { color: var(--soft); max-width: 62em; }
.note { font-size: 13px; padding-top: 6px; }
.lead { padding-bottom: 14px; }
.tick { width: 0.95em; height: 0.95em; vertical-align: -0.1em; margin-right: 0.4em; }
.wrongs { list-style: none; border-top: 1px solid var(--line); }
.wrongs li { display: grid; grid-template-columns: 128px 1fr; gap: 4px 20px; padding: 12px 0; border-bottom: 1px solid var(--line); }
.wrongs .word { font-weight: 600; white-space: nowrap; }
.wrongs .what { font-weight: 600; overflow-wrap: anywhere; }
.wrongs p { color: var(--soft); overflow-wrap: anywhere; } .wrongs p.what { color: var(--ink); padding-bottom: 2px; }
.wrongs b { color: var(--ink); font-weight: 400; }
.wrongs small { font-size: 13px; font-weight: 400; color: var(--soft); padding-left: 12px; }
.scroll { overflow-x: auto; }
.scroll:focus-visible { outline: 2px solid #2463a8; outline-offset: 3px; }
table { border-collapse: collapse; }
.plain { width: 100%; font-size: 13.5px; }
.plain th, .plain td { text-align: left; padding: 7px 18px 7px 0; border-bottom: 1px solid var(--line); vertical-align: top; }
.plain thead th { color: var(--soft); font-weight: 400; font-size: 12.5px; white-space: nowrap; }
.plain tbody th { font-weight: 400; min-width: 17em; }
.plain .n { text-align: right; white-space: nowrap; }
.plain thead .n { text-align: right; }
.plain .v { white-space: nowrap; padding-right: 0; }
.plain .why { color: var(--soft); padding-top: 0; }
.plain tr.more th, .plain tr.more td { border-bottom: 0; padding-bottom: 2px; }
.inband { width: 96px; height: 14px; display: block; margin-top: 3px; }
.inband rect { fill: #cfdbe8; } .inband line { stroke: #5b6b7b; stroke-width: 1.5; }
.inband .at { fill: var(--ink); } .inband .past { fill: none; stroke: var(--fail); stroke-width: 2; stroke-linecap: round; }
.maps { display: flex; flex-wrap: wrap; gap: 0 40px; } .map { flex: 0 1 auto; min-width: 0; max-width: 100%; }
.map .scroll { max-width: 100%; } .maps.wide .map { flex-basis: 100%; }
figure { padding: 18px 0 10px; }
.map { break-inside: avoid; }
figcaption { font-size: 15px; font-weight: 600; padding-bottom: 8px; }
.heat { width: 100%; table-layout: fixed; border-spacing: 0; }
.heat th { font-weight: 400; color: var(--soft); font-size: 11.5px; padding: 3px 2px; text-align: center; }
.heat th[scope=row] { text-align: right; padding-right: 6px; width: 42px; }
.heat td { font-size: 11.5px; line-height: 1.15; text-align: center; padding: 6px 0; border: 1px solid #fff; white-space: nowrap;
  overflow: hidden; }
.heat .axis-y { width: 24px; padding: 0; border: 0; } .heat .axis-y span { writing-mode: vertical-rl; transform: rotate(180deg);
  color: var(--soft); font-size: 12.5px; }
.heat tfoot td { padding: 0; border: 0; } .heat .axis-x { color: var(--soft); font-size: 12.5px; padding: 4px 0; }
.m0 { background: #08274a; color: #fff; } .m1 { background: #1f5f9e; color: #fff; } .m2 { background: #8fbde6; color: #0b1a2b; }
.m3 { background: #c5dcf2; color: #0b1a2b; } .m4 { background: #e9f2fb; color: #0b1a2b; }
.heat .none { background: #fff; color: var(--soft); }
.heat .out { position: relative; outline: 2px solid var(--ink); outline-offset: -2px; }
.heat .out b { position: absolute; left: 4px; top: 1px; font-size: 12px; } .heat td.out { padding: 10px 0 3px; }
.legend { display: flex; flex-wrap: wrap; gap: 4px 20px; color: var(--soft); font-size: 12.5px; padding: 2px 0 8px; }
.key { white-space: nowrap; } .key b { color: var(--ink); }
.swatch { display: inline-block; width: 15px; height: 15px; vertical-align: -3px; margin-right: 6px; border: 1px solid #7d8893; }
.swatch.band { background: #dbe6f1; }
.bit { width: 12px; height: 12px; vertical-align: -2px; margin-right: 5px; }
.grid { display: grid; grid-template-columns: repeat(auto-fill, minmax(188px, 1fr)); gap: 6px 12px; }
.small { width: 100%; display: block; break-inside: avoid; }
.small text { font-size: 10px; fill: var(--soft); } .small .title { font-size: 11px; font-weight: 600; fill: var(--ink); }
.small .band { fill: #dbe6f1; stroke: #6d8298; stroke-width: 0.8; }
.small .axis { stroke: #8a929b; stroke-width: 0.8; } .small .zero { stroke: #5b6570; stroke-width: 0.6; stroke-dasharray: 2 3; }
.small .whisker { stroke: #14497f; stroke-width: 0.7; }
.dot { fill: #14497f; stroke: #14497f; stroke-width: 0.9; } .dot.open { fill: #fff; }
.cross { stroke: var(--fail); stroke-width: 1.7; stroke-linecap: round; }
.strips { display: grid; grid-template-columns: repeat(auto-fill, minmax(min(100%, 340px), 1fr)); gap: 4px 28px; }
.strips.compact { grid-template-columns: repeat(auto-fill, minmax(min(100%, 262px), 1fr)); gap: 2px 22px; }
.strip { display: flex; flex-direction: column; justify-content: space-between; padding: 16px 0 8px; min-width: 0; break-inside: avoid; }
.strip figcaption { font-size: 13.5px; line-height: 1.4; padding: 0 0 1px; overflow-wrap: anywhere; }
.compact figcaption { font-size: 12.5px; font-weight: 400; }
.strip .word { font-weight: 600; margin-right: 5px; white-space: nowrap; }
.strip p { color: var(--soft); font-size: 12.5px; line-height: 1.4; overflow-wrap: anywhere; } .strip .timing { color: var(--ink); }
.strip svg:not(.tick) { width: 100%; display: block; margin-top: auto; padding-top: 4px; }
.strip text { font-size: 10.5px; fill: var(--soft); } .strip text.name { fill: var(--ink); paint-order: stroke; stroke: #fff; stroke-width: 3px; }
.strip text.word { fill: var(--ink); font-weight: 600; font-size: 10.5px; paint-order: stroke; stroke: #fff; stroke-width: 3px; }
.strip .ground { fill: #f7f8f9; stroke: #c9ced3; stroke-width: 0.6; }
.strip .lane { fill: #d3e1ef; stroke: #8ba3bb; stroke-width: 0.6; }
.strip .out { fill: #2c6cb0; stroke: #2c6cb0; stroke-width: 2.2; stroke-linejoin: round; }
.strip .in { fill: #15181b; fill-opacity: 0.45; stroke: #15181b; stroke-width: 0.7; stroke-linejoin: round; }
.strip .axis, .strip line.tick { stroke: #8a929b; stroke-width: 0.8; }
.strip .at { stroke: var(--ink); stroke-width: 1; } .strip .deadline { stroke-dasharray: 5 2.5; stroke-width: 1.3; }
.strip .arrived { stroke-dasharray: 1.2 2.2; } .strip .removed { stroke-dasharray: 7 2 1.5 2; }
.strip .tip { fill: var(--ink); } .strip .doubt { stroke: var(--ink); stroke-width: 2.4; }
.legend.strip { display: flex; flex-direction: row; justify-content: flex-start; padding: 2px 0; } .legend.strip .bit { width: 22px; display: inline; margin-right: 6px; padding: 0; }
.lack { padding-top: 22px; }
details { padding-top: 10px; } summary { cursor: pointer; padding: 6px 0; color: #14497f; }
.remarks { padding-left: 1.2em; }
.foot { margin-top: 48px; padding-top: 16px; border-top: 1px solid var(--line); color: var(--soft); font-size: 13px; }
.foot ul { padding: 8px 0 8px 1.2em; max-width: 74em; }
@media (max-width: 720px) {
  body { padding: 0 16px 32px; }
  .verdict { grid-template-columns: 1fr; gap: 14px; padding: 28px 0 22px; }
  .verdict .mark { width: 84px; height: 84px; }
  .verdict h1 { font-size: clamp(64px, 30vw, 124px); } .verdict.undecided h1 { font-size: clamp(40px, 14.5vw, 96px); }
  .verdict .unit { font-size: 22px; margin-top: 6px; } .verdict .unit small { font-size: 14px; }
  .reason { font-size: 17px; padding-bottom: 20px; }
  .facts { grid-template-columns: 1fr 1fr; gap: 12px 16px; }
  .wrongs li { grid-template-columns: 1fr; }
  .grid { grid-template-columns: repeat(auto-fill, minmax(160px, 1fr)); }
}
@page { size: A4; margin: 13mm 12mm; }
@media print {
  html { background: none; } body { padding: 0; max-width: none; font-size: 9.5pt; }
  .verdict { padding: 22px 0 18px; } .verdict .mark { width: 150px; height: 150px; } .verdict h1 { font-size: 104px; }
  .verdict .unit { font-size: 26px; } .reason { font-size: 13pt; }
  .heat td, .heat .swatch, .swatch, .heat, .small, .inband, .mark, .tick { -webkit-print-color-adjust: exact; print-color-adjust: exact; }
  .heat { min-width: 0 !important; } .heat td { font-size: 6.6pt; padding: 3px 0; } .heat td.out { padding: 7px 0 1px; }
  .heat .out b { font-size: 6.6pt; left: 2px; top: 0; } .heat th { font-size: 6.4pt; padding: 2px 0; }
  .heat th[scope=row] { width: 34px; padding-right: 4px; } .scroll { overflow: visible; }
  .plain { font-size: 8pt; } .plain th, .plain td { padding: 4px 10px 4px 0; } .plain tbody th { min-width: 0; }
  .grid { grid-template-columns: repeat(4, 1fr); gap: 4px 8px; } .facts { grid-template-columns: repeat(3, 1fr); gap: 12px 24px; padding: 16px 0; }
  .strips { grid-template-columns: 1fr 1fr; gap: 2px 20px; } .strips.compact { grid-template-columns: repeat(3, 1fr); gap: 0 14px; }
  .strip { padding: 8px 0 4px; } .strip svg { -webkit-print-color-adjust: exact; print-color-adjust: exact; }
  details.passed::details-content { content-visibility: visible; display: block; } details.passed summary { list-style: none; color: var(--ink); }
  .lead { break-after: avoid; }
  section { padding-top: 22px; } h2, h3, figcaption { break-after: avoid; } tr, .wrongs li { break-inside: avoid; }
  thead { display: table-header-group; } .on-screen { display: none; }
}
)css";
}

}  // namespace rig
