// The socket of this specimen with its + contact, and the project's cell in front of it.
export type Side = "left" | "right" | "unknown" | "none";

export interface SocketProps {
  specimen: string;
  side: Side;
  lead: Side;
  cell: string;
  dead: boolean;
}

export function Socket({ specimen, side, lead, cell, dead }: SocketProps) {
  if (side === "none") return <figure class="socket"><figcaption><bdi>{specimen}</bdi>{dead ? " †" : ""}: no battery socket</figcaption></figure>;
  const known = side !== "unknown";
  const leadKnown = lead === "left" || lead === "right";
  const verdict = !known || !leadKnown ? "ask" : side === lead ? "suits" : "mirrored";
  const says = verdict === "suits"
    ? `The lead of ${cell} has its + on the same side.`
    : verdict === "mirrored"
      ? `Do not plug in: the lead of ${cell} has its + on the other side. Swap the contacts of the lead and measure again.`
      : known ? `Which wire of ${cell} is + is not known: measure it.` : "Which contact is + was not measured on this specimen: measure it twice before first power.";
  const sign = (which: Side, at: "left" | "right") => (which === "left" || which === "right" ? (which === at ? "+" : "−") : "?");
  const mark = (which: Side, at: "left" | "right") => (sign(which, at) === "+" ? "plus" : sign(which, at) === "−" ? "minus" : "open");
  return (
    <figure class={`socket ${verdict}`}>
      <svg viewBox="0 0 150 132" role="img" aria-label={`${specimen}: + ${known ? side : "not known"}. ${says}`}>
        <rect x="31" y="8" width="88" height="50" rx="4" class="shell" />
        <rect x="39" y="16" width="72" height="34" rx="2" class="hollow" />
        {(["left", "right"] as const).map((at) => {
          const x = at === "left" ? 57 : 93;
          return (
            <g key={at}>
              <rect x={x - 3} y="24" width="6" height="18" class={`pin ${mark(side, at)}`} />
              <text x={at === "left" ? 18 : 132} y="39" class="sign" text-anchor="middle">{sign(side, at)}</text>
            </g>
          );
        })}
        <g class="lead">
          <rect x="41" y="76" width="68" height="24" rx="3" class="plug" />
          {(["left", "right"] as const).map((at) => {
            const x = at === "left" ? 57 : 93;
            return (
              <g key={at}>
                <path d={`M${x} 100v24`} class={`wire ${mark(lead, at)}`} />
                <text x={x} y="93" class="sign small" text-anchor="middle">{sign(lead, at)}</text>
              </g>
            );
          })}
        </g>
        {verdict === "mirrored" ? <path d="M60 61l30 12M90 61l-30 12" class="no" /> : verdict === "suits" ? <path d="M57 74v-12M93 74v-12" class="yes" /> : <text x="75" y="73" class="ask" text-anchor="middle">?</text>}
      </svg>
      <figcaption><strong><bdi>{specimen}</bdi>{dead ? " †" : ""}</strong> {says}</figcaption>
    </figure>
  );
}
