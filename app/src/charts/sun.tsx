// The year of a node with a panel: months as bars, the fan of states of charge, light over the tilt.
import { engineering, MONTHS, significant } from "../format";
import type { SunBalanceMonth, SunFanDay, TiltLine } from "../types";
import { Behind } from "../views/parts";
import { Legend, Levels, NARROW, path, round, Uprights } from "./axes";

const LEFT = 46;
const RIGHT = 12;

/** Charge a day in milliampere-hours: what panel and charger could give, what was taken, what the board asks for. */
export function Months({ of }: { of: SunBalanceMonth[] }) {
  const WIDTH = NARROW.matches ? 380 : 760;
  const TOP = 26;
  const HEIGHT = 176;
  const mAh = (c: number) => c / 3.6;
  // Summer could give many times the load: the bars are cut there, so that winter can be read.
  const load = Math.max(...of.map((m) => mAh(m.load_c)), 1e-9);
  const most = Math.max(...of.map((m) => mAh(m.could_c)), load);
  const cutAt = Math.min(most * 1.06, load * 4);
  const y = (v: number) => TOP + HEIGHT * (1 - Math.min(v, cutAt) / cutAt);
  const slot = (WIDTH - LEFT - RIGHT) / 12;
  const worst = of.reduce((a, b) => (b.could_c - b.load_c < a.could_c - a.load_c ? b : a));
  const dark = of.some((m) => m.outage_days > 0);
  return (
    <figure>
      <svg class="chart months-chart" viewBox={`0 0 ${WIDTH} ${TOP + HEIGHT + (dark ? 40 : 24)}`} role="img" aria-label={`Harvest against load by month. In ${MONTHS[worst.month - 1]} the sun could give ${significant(mAh(worst.could_c), 2)} mAh a day against ${significant(mAh(worst.load_c), 2)} mAh asked for.`}>
        <defs><pattern id="refused" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><line class="hatch" x1="0" x2="0" y1="0" y2="6" /></pattern></defs>
        <Levels of={round(0, cutAt, 4).map((v) => [y(v), significant(v, 2)])} left={LEFT} right={WIDTH - RIGHT} />
        <text class="tick" x={2} y={11}>mAh a day</text>
        {of.map((m, i) => {
          const x = LEFT + i * slot + slot * 0.16;
          const wide = slot * 0.68;
          const [could, taken, asked] = [mAh(m.could_c), mAh(m.taken_c), mAh(m.load_c)];
          return (
            <g key={m.month}>
              <rect class="could" x={x} width={wide} y={y(could)} height={Math.max(y(taken) - y(could), 0)} fill="url(#refused)" />
              <rect class="taken" x={x} width={wide} y={y(taken)} height={Math.max(y(0) - y(taken), 0)} />
              {could > cutAt ? <g><path class="cut" d={`M${x - 2} ${TOP + 12}l${wide / 2 + 2} -5l${wide / 2 + 2} 5`} /><text class={NARROW.matches ? "mark small" : "mark"} x={x + wide / 2} y={TOP - 5} text-anchor="middle">{significant(could, 2)}</text></g> : null}
              <line class="asked" x1={x - slot * 0.11} x2={x + wide + slot * 0.11} y1={y(asked)} y2={y(asked)} />
              <text class="tick" x={x + wide / 2} y={TOP + HEIGHT + 16} text-anchor="middle">{NARROW.matches ? (MONTHS[i] ?? "").slice(0, 1) : MONTHS[i]}</text>
              {dark ? <text class={m.outage_days > 0.005 ? "mark" : "tick"} x={x + wide / 2} y={TOP + HEIGHT + 32} text-anchor="middle">{m.outage_days > 0.005 ? significant(m.outage_days, 2) : "–"}</text> : null}
            </g>
          );
        })}
        {dark ? <text class="tick" x={LEFT - 6} y={TOP + HEIGHT + 32} text-anchor="end">dark d</text> : null}
      </svg>
      <Legend of={[["taken", "taken into the cell"], ["refused", "could be had, cell full"], ["asked", "asked for by the board"], dark && ["", "dark d: days with an outage in a mean year"]]} />
      <Behind caption="Charge a day by month" head={["month", "could be had", "taken", "asked for", "days with an outage"]} rows={of.map((m) => [MONTHS[m.month - 1] ?? "", `${significant(mAh(m.could_c), 3)} mAh`, `${significant(mAh(m.taken_c), 3)} mAh`, `${significant(mAh(m.load_c), 3)} mAh`, significant(m.outage_days, 2)])} />
    </figure>
  );
}

const FIRST_OF_MONTH = [1, 32, 60, 91, 121, 152, 182, 213, 244, 274, 305, 335];

export function Fan({ of, years }: { of: SunFanDay[]; years: number }) {
  const WIDTH = NARROW.matches ? 390 : 760;
  const [TOP, HEIGHT] = [12, 200];
  const first = of[0]?.day_of_year ?? 1;
  const place = (day: number) => (day - first + 365) % 365;
  const last = Math.max(...of.map((d) => place(d.day_of_year)), 1);
  const x = (day: number) => LEFT + ((WIDTH - LEFT - RIGHT) * place(day)) / last;
  const y = (share: number) => TOP + HEIGHT * (1 - share);
  const curve = (key: "lowest" | "p10" | "p50" | "p90") => of.map((d) => [x(d.day_of_year), y(d[key])] as [number, number]);
  const worst = of.reduce((a, b) => (b.p10 < a.p10 ? b : a), of[0] as SunFanDay);
  const at = (day: number) => {
    const month = FIRST_OF_MONTH.filter((d) => d <= day).length;
    return `${day - (FIRST_OF_MONTH[month - 1] ?? 1) + 1} ${MONTHS[month - 1]}`;
  };
  if (of.length < 2) return null;
  return (
    <figure>
      <svg class="chart fan" viewBox={`0 0 ${WIDTH} ${TOP + HEIGHT + 24}`} role="img" aria-label={`State of charge over the year in ${years} years: around ${at(worst.day_of_year)} one year in ten is below ${(100 * worst.p10).toFixed(0)} %, the median stands at ${(100 * worst.p50).toFixed(0)} %.`}>
        <Levels of={[0, 0.25, 0.5, 0.75, 1].map((s) => [y(s), `${100 * s} %`])} left={LEFT} right={WIDTH - RIGHT} />
        <Uprights of={FIRST_OF_MONTH.flatMap((d, i) => (place(d) > last ? [] : [[x(d), NARROW.matches && i % 2 ? "" : (MONTHS[i] ?? "")]]))} top={TOP} bottom={TOP + HEIGHT} />
        <path class="band" d={`${path(curve("p90").concat(curve("p10").reverse()))}Z`} />
        <path class="median" d={path(curve("p50"))} />
        <path class="lowest" d={path(curve("lowest"))} />
      </svg>
      <Legend of={[["median", `median of ${years} years`], ["band", "eight years of ten"], ["lowest", "lowest of all"]]} />
      <Behind caption={`State of charge over the year, ${years} years`} head={["day", "lowest", "10 %", "median", "90 %"]} rows={of.filter((_, i) => i % 3 === 0).map((d) => [at(d.day_of_year), ...[d.lowest, d.p10, d.p50, d.p90].map((s) => `${(100 * s).toFixed(0)} %`)])} />
    </figure>
  );
}

/** Light in the worst month over the tilt; the best and the project's own are marked. */
export function TiltCurve({ tilts, best, now }: { tilts: TiltLine[]; best: TiltLine; now: TiltLine | null }) {
  const WIDTH = NARROW.matches ? 380 : 520;
  const [TOP, HEIGHT] = [16, 150];
  const low = Math.min(...tilts.map((t) => t.tilt_deg));
  const high = Math.max(...tilts.map((t) => t.tilt_deg));
  const most = Math.max(...tilts.map((t) => t.worst_kwh_m2), 1e-9) * 1.12;
  const x = (t: number) => LEFT + ((WIDTH - LEFT - RIGHT) * (t - low)) / Math.max(high - low, 1);
  const y = (v: number) => TOP + HEIGHT * (1 - v / most);
  const near = now !== null && Math.abs(x(now.tilt_deg) - x(best.tilt_deg)) < 110;
  const side = (t: number): "start" | "end" => (x(t) > WIDTH * 0.6 ? "end" : "start");
  return (
    <figure>
      <svg class="chart narrow" viewBox={`0 0 ${WIDTH} ${TOP + HEIGHT + 30}`} role="img" aria-label={`Light on the panel in the worst month over the tilt: best at ${best.tilt_deg.toFixed(0)}° with ${significant(best.worst_kwh_m2, 3)} kWh/m² a day${now ? `; the project's ${now.tilt_deg.toFixed(0)}° has ${significant(now.worst_kwh_m2, 3)}` : ""}.`}>
        <Levels of={round(0, most, 4).map((v) => [y(v), significant(v, 2)])} left={LEFT} right={WIDTH - RIGHT} />
        <Uprights of={[0, 15, 30, 45, 60, 75, 90].filter((t) => t >= low && t <= high).map((t) => [x(t), `${t}°`])} top={TOP} bottom={TOP + HEIGHT} />
        <text class="tick" x={LEFT + 4} y={TOP - 4}>kWh/m² a day in the worst month</text>
        <path class="median" d={path(tilts.map((t) => [x(t.tilt_deg), y(t.worst_kwh_m2)]))} />
        <circle class="point" cx={x(best.tilt_deg)} cy={y(best.worst_kwh_m2)} r="5" />
        <text class="mark" x={x(best.tilt_deg)} y={y(best.worst_kwh_m2) + 20} text-anchor={side(best.tilt_deg)}>best {best.tilt_deg.toFixed(0)}°</text>
        {now ? <g><rect class="point" x={x(now.tilt_deg) - 4.5} y={y(now.worst_kwh_m2) - 4.5} width="9" height="9" /><text class="mark" x={x(now.tilt_deg)} y={y(now.worst_kwh_m2) + (near ? 36 : 20)} text-anchor={side(now.tilt_deg)}>now {now.tilt_deg.toFixed(0)}°</text></g> : null}
      </svg>
      <Behind caption="Light on the panel by tilt, kWh/m² a day" head={["tilt", "worst month", "then", "mean of the year"]} rows={tilts.map((t) => [`${t.tilt_deg.toFixed(0)}°`, MONTHS[t.worst_month - 1] ?? "", significant(t.worst_kwh_m2, 3), significant(t.year_kwh_m2, 3)])} />
    </figure>
  );
}

/** Lines of a ledger with both signs on one scale: what comes in to the right, what goes out to the left. */
export function Signed({ lines, label }: { lines: { name: string; charge_c: number }[]; label: string }) {
  const most = Math.max(...lines.map((l) => Math.abs(l.charge_c)), 1e-12);
  return (
    <ol class="waterfall signed" aria-label={label}>
      {lines.map((l) => (
        <li key={l.name} class={l.charge_c < 0 ? "out" : ""}>
          <span class="label">{l.name}</span>
          <span class="track" aria-hidden="true"><i style={l.charge_c === 0 ? { width: "0" } : l.charge_c < 0 ? { right: "50%", width: `${Math.max((-50 * l.charge_c) / most, 0.3)}%` } : { left: "50%", width: `${Math.max((50 * l.charge_c) / most, 0.3)}%` }} /></span>
          <span class="value">{l.charge_c > 0 ? "+" : ""}{engineering(l.charge_c / 3600, "Ah")}</span>
        </li>
      ))}
    </ol>
  );
}
