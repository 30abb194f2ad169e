// Reads a glTF file with glTF-Transform, a reader that is not ours, and prints
// what it shows as JSON: triangles, line segments, area, signed volume about
// zero, bounds of what is drawn, all in the world frame of the default scene.
//   node measure.mjs a.glb
import { NodeIO, Primitive } from '@gltf-transform/core';
import { ALL_EXTENSIONS } from '@gltf-transform/extensions';

const io = new NodeIO().registerExtensions(ALL_EXTENSIONS);
const out = [];
for (const path of process.argv.slice(2)) {
  const root = (await io.read(path)).getRoot();
  const sum = {
    file: path, triangles: 0, segments: 0, area: 0, volume: 0,
    min: [Infinity, Infinity, Infinity], max: [-Infinity, -Infinity, -Infinity],
    primitives: 0, materials: root.listMaterials().map((m) => m.getName()), images: root.listTextures().map((t) => t.getImage()?.byteLength ?? 0),
    colours: 0,
  };
  (root.getDefaultScene() ?? root.listScenes()[0]).traverse((node) => {
    const m = node.getWorldMatrix();
    for (const p of node.getMesh()?.listPrimitives() ?? []) {
      sum.primitives++;
      const position = p.getAttribute('POSITION');
      const indices = p.getIndices();
      const count = indices ? indices.getCount() : position.getCount();
      if (p.getAttribute('COLOR_0')) sum.colours += p.getAttribute('COLOR_0').getCount();
      const local = [];
      const at = (i) => {
        const [x, y, z] = position.getElement(indices ? indices.getScalar(i) : i, local);
        const w = [0, 1, 2].map((k) => m[k] * x + m[4 + k] * y + m[8 + k] * z + m[12 + k]);
        w.forEach((v, k) => {
          sum.min[k] = Math.min(sum.min[k], v);
          sum.max[k] = Math.max(sum.max[k], v);
        });
        return w;
      };
      if (p.getMode() === Primitive.Mode.LINE_STRIP) {
        for (let i = 0; i < count; i++) at(i);
        sum.segments += count - 1;
      } else if (p.getMode() === Primitive.Mode.TRIANGLES) {
        for (let i = 0; i + 2 < count; i += 3) {
          const [a, b, c] = [at(i), at(i + 1), at(i + 2)];
          const u = b.map((v, k) => v - a[k]);
          const v = c.map((x, k) => x - a[k]);
          const n = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
          sum.triangles++;
          sum.area += Math.hypot(...n) / 2;
          sum.volume += (a[0] * n[0] + a[1] * n[1] + a[2] * n[2]) / 6;
        }
      }
    }
  });
  out.push(sum);
}
console.log(JSON.stringify(out, null, 1));
