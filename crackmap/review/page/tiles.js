// The photo as tiles: only those in sight are asked for, at the level that the zoom needs.

const MOST_KEPT = 160; // tiles; 512 px each come to about 1 MB
const MOST_ASKED = 6; // requests at a time
const AGAIN_AFTER = 2000; // a tile that failed is asked for again after so long [ms]

export class Tiles {
  /** `arrived` is called when a tile has come and the picture wants drawing again. */
  constructor(picture, arrived) {
    this.picture = picture;
    this.arrived = arrived;
    this.kept = new Map(); // "L/X/Y" -> {bitmap, stop, failed}; the longest unused first
    this.asked = 0;
  }

  /** Draw what is in sight; returns true when every tile wanted was there. */
  draw(context, view, ratio) {
    const wanted = this.#inSight(view, ratio);
    const names = new Set(wanted.map((tile) => tile.name));
    this.#forget(names);
    let whole = true;
    for (const tile of wanted) {
      const own = this.#touch(tile.name)?.bitmap;
      if (!own) whole = false;
      if (own) this.#paint(context, view, ratio, own, tile.level, tile.x, tile.y, tile);
      else this.#paintCoarser(context, view, ratio, tile);
    }
    for (const tile of wanted) this.#ask(tile);
    this.#ask({ level: this.picture.levels - 1, x: 0, y: 0, name: `${this.picture.levels - 1}/0/0` });
    return whole;
  }

  #inSight(view, ratio) {
    const { width, height, tile, levels } = this.picture;
    const level = Math.max(0, Math.min(levels - 1, Math.floor(Math.log2(1 / (view.zoom * ratio)) + 0.3)));
    const side = tile * 2 ** level;
    const first = (origin) => Math.max(0, Math.floor(-origin / view.zoom / side));
    const last = (origin, size, span) =>
      Math.min(Math.ceil(span / side) - 1, Math.floor((size - origin) / view.zoom / side));
    const found = [];
    for (let y = first(view.origin[1]); y <= last(view.origin[1], view.size[1], height); y++)
      for (let x = first(view.origin[0]); x <= last(view.origin[0], view.size[0], width); x++)
        found.push({ level, x, y, name: `${level}/${x}/${y}`, side });
    const middle = [0, 1].map((i) => (view.size[i] / 2 - view.origin[i]) / view.zoom / side - 0.5);
    return found.sort(
      (a, b) => Math.hypot(a.x - middle[0], a.y - middle[1]) - Math.hypot(b.x - middle[0], b.y - middle[1]),
    );
  }

  /** Draw the part of a tile's bitmap that lies within `cell`, in device pixels without seams. */
  #paint(context, view, ratio, bitmap, level, x, y, cell) {
    const grain = 2 ** level;
    const side = this.picture.tile * grain;
    const left = Math.max(x * side, cell.x * cell.side);
    const top = Math.max(y * side, cell.y * cell.side);
    const right = Math.min(x * side + bitmap.width * grain, (cell.x + 1) * cell.side);
    const bottom = Math.min(y * side + bitmap.height * grain, (cell.y + 1) * cell.side);
    if (right <= left || bottom <= top) return;
    const on = (value, i) => Math.round((value * view.zoom + view.origin[i]) * ratio);
    context.drawImage(
      bitmap,
      (left - x * side) / grain,
      (top - y * side) / grain,
      (right - left) / grain,
      (bottom - top) / grain,
      on(left, 0),
      on(top, 1),
      on(right, 0) - on(left, 0),
      on(bottom, 1) - on(top, 1),
    );
  }

  #paintCoarser(context, view, ratio, cell) {
    for (let level = cell.level + 1; level < this.picture.levels; level++) {
      const shift = 2 ** (level - cell.level);
      const [x, y] = [Math.floor(cell.x / shift), Math.floor(cell.y / shift)];
      const bitmap = this.kept.get(`${level}/${x}/${y}`)?.bitmap;
      if (bitmap) {
        this.#paint(context, view, ratio, bitmap, level, x, y, cell);
        return;
      }
    }
  }

  #touch(name) {
    const entry = this.kept.get(name);
    if (entry) {
      this.kept.delete(name);
      this.kept.set(name, entry);
    }
    return entry;
  }

  #ask({ name }) {
    const known = this.kept.get(name);
    if (this.asked >= MOST_ASKED || (known && !(known.failed && performance.now() - known.failed > AGAIN_AFTER)))
      return;
    const stop = new AbortController();
    const entry = { bitmap: null, stop, failed: 0 };
    this.kept.set(name, entry);
    this.asked += 1;
    fetch(`/tile/${name}`, { signal: stop.signal })
      .then((answer) => {
        if (!answer.ok) throw new Error(String(answer.status));
        return answer.blob();
      })
      .then((blob) => createImageBitmap(blob))
      .then(
        (bitmap) => {
          entry.bitmap = bitmap;
        },
        () => {
          entry.failed = performance.now();
        },
      )
      .finally(() => {
        this.asked -= 1;
        this.arrived();
      });
  }

  /** Stop asking for tiles no longer in sight, and let the longest unused go. */
  #forget(wanted) {
    for (const [name, entry] of this.kept) {
      if (wanted.has(name) || name.startsWith(`${this.picture.levels - 1}/`)) continue;
      if (!entry.bitmap && !entry.failed) {
        entry.stop.abort();
        this.kept.delete(name);
        continue;
      }
      if (this.kept.size > MOST_KEPT) {
        entry.bitmap?.close();
        this.kept.delete(name);
      }
    }
  }
}
