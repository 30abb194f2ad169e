// Makes test vectors for EXT_meshopt_compression with the reference encoder and
// decoder, and prints them as JSON: mode, filter, count, stride, packed and
// unpacked bytes in base64. The same numbers come out each time.
import { MeshoptEncoder, MeshoptDecoder } from 'meshoptimizer';

await Promise.all([MeshoptEncoder.ready, MeshoptDecoder.ready]);

let state = 1;
const random = (n) => {
  state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
  return Math.floor((state / 2 ** 32) * n);
};

const vectors = [];
const add = (name, mode, filter, count, stride, source) => {
  // Version 0 of the attribute stream: the one that the extension has.
  const packed =
    mode === 'ATTRIBUTES'
      ? MeshoptEncoder.encodeVertexBufferLevel(source, count, stride, 2, 0)
      : mode === 'TRIANGLES'
        ? MeshoptEncoder.encodeIndexBuffer(source, count, stride)
        : MeshoptEncoder.encodeIndexSequence(source, count, stride);
  const unpacked = new Uint8Array(count * stride);
  MeshoptDecoder.decodeGltfBuffer(unpacked, count, stride, packed, mode, filter);
  vectors.push({
    name, mode, filter, count, stride,
    packed: Buffer.from(packed).toString('base64'),
    unpacked: Buffer.from(unpacked).toString('base64'),
  });
};

// Bytes of several characters: all zero, slow, middling, wild, mixed.
const characters = {
  zero: () => 0,
  slow: (i, k, p) => (p + random(3) - 1) & 255,
  middling: (i, k, p) => (p + random(15) - 7) & 255,
  wild: () => random(256),
  mixed: (i, k, p) => (random(20) === 0 ? random(256) : (p + random(k + 2)) & 255),
};
for (const [name, next] of Object.entries(characters)) {
  for (const stride of [4, 8, 12, 20, 36, 64, 256]) {
    for (const count of [1, 15, 16, 17, 257, 300]) {
      const source = new Uint8Array(count * stride);
      for (let i = 0; i < count; i++)
        for (let k = 0; k < stride; k++) source[i * stride + k] = next(i, k, i ? source[(i - 1) * stride + k] : 0);
      add(`${name} ${count}x${stride}`, 'ATTRIBUTES', 'NONE', count, stride, source);
    }
  }
}

// Triangles: a grid in rows, the same shuffled, and at random.
const grid = (n, base) => {
  const out = [];
  for (let y = 0; y < n; y++)
    for (let x = 0; x < n; x++) {
      const a = base + y * (n + 1) + x;
      out.push([a, a + 1, a + n + 1], [a + 1, a + n + 2, a + n + 1]);
    }
  return out;
};
const shuffled = (list) => {
  const out = [...list];
  for (let i = out.length - 1; i > 0; i--) {
    const j = random(i + 1);
    [out[i], out[j]] = [out[j], out[i]];
  }
  return out;
};
const lists = {
  one: [[0, 1, 2]],
  grid: grid(20, 0),
  'grid from afar': grid(12, 5000),
  'grid shuffled': shuffled(grid(15, 0)),
  'two grids': [...grid(8, 0), ...grid(8, 0), ...grid(8, 40)],
  random: Array.from({ length: 500 }, () => [random(1000), random(1000), random(1000)]),
  'random far': Array.from({ length: 100 }, () => [random(2 ** 31), random(2 ** 31), random(2 ** 31)]),
};
for (const [name, list] of Object.entries(lists)) {
  const flat = list.flat();
  for (const stride of name === 'random far' ? [4] : [2, 4]) {
    const source = stride === 2 ? new Uint16Array(flat) : new Uint32Array(flat);
    const bytes = new Uint8Array(source.buffer);
    add(`${name}, ${stride} bytes`, 'TRIANGLES', 'NONE', flat.length, stride, bytes);
    if (name !== 'random far') add(`${name}, ${stride} bytes`, 'INDICES', 'NONE', flat.length, stride, bytes);
  }
}
add('strip', 'INDICES', 'NONE', 1001, 4, new Uint8Array(new Uint32Array(1001).map((_, i) => (i % 2 ? 70000 - i : i)).buffer));

// Filters: unit vectors and numbers of many sizes.
for (const stride of [4, 8])
  for (const bits of stride === 4 ? [4, 6, 8] : [4, 10, 12, 16]) {
    const count = 300;
    const source = new Float32Array(count * 4);
    for (let i = 0; i < count; i++) {
      const v = [random(2001) - 1000, random(2001) - 1000, random(2001) - 1000];
      const l = Math.hypot(...v) || 1;
      source.set([v[0] / l, v[1] / l, v[2] / l, 0.5], 4 * i);
    }
    add(`unit vectors of ${bits} bits in ${stride}`, 'ATTRIBUTES', 'OCTAHEDRAL', count, stride, MeshoptEncoder.encodeFilterOct(source, count, stride, bits));
  }
for (const stride of [4, 12])
  for (const bits of [8, 15, 24]) {
    const count = 300;
    const source = new Float32Array((count * stride) / 4).map((_, i) => (random(2e6) / 1e6 - 1) * 10 ** (i % 9 - 4));
    add(`numbers of ${bits} bits in ${stride}`, 'ATTRIBUTES', 'EXPONENTIAL', count, stride, MeshoptEncoder.encodeFilterExp(source, count, stride, bits, 'Separate'));
  }

console.log(JSON.stringify(vectors));
