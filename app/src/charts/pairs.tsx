// P(row outlasts column) as a matrix; the number stands in every cell, the shade only helps the eye.
import { percent } from "../format";

export function Pairs({ boards, pairs, mine }: { boards: string[]; pairs: number[][]; mine?: string }) {
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label="Chance that one board outlasts another">
      <table class="pairs">
        <caption>Chance that the board of the row outlasts the board of the column, under the same weather, load and cell. 20 to 80 % is not told apart.</caption>
        <thead><tr><td />{boards.map((b) => <th key={b} scope="col"><span><bdi>{b}</bdi></span></th>)}</tr></thead>
        <tbody>
          {boards.map((row, i) => (
            <tr key={row} class={row === mine ? "mine" : ""}>
              <th scope="row"><bdi>{row}</bdi></th>
              {boards.map((column, j) => {
                const p = pairs[i]?.[j];
                if (i === j || p === undefined) return <td key={column} class="same">·</td>;
                const tied = p >= 0.2 && p <= 0.8;
                return <td key={column} class={tied ? "tied" : ""} style={{ "--share": String(p) }}>{percent(p)}</td>;
              })}
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}
