// Writes selection_*.parquet from ../cityweather/selection.csv, beside this file.
//
// Run from a temporary folder: npm install --ignore-scripts parquet-wasm@0.8.0
// apache-arrow@21.2.0, copy this file and selection.csv there, node make.mjs OUTDIR.
import { readFileSync, writeFileSync } from "node:fs";
import * as arrow from "apache-arrow";
import * as parquet from "parquet-wasm";

const [head, ...lines] = readFileSync("selection.csv", "utf8").trim().split(/\r?\n/)
  .map((l) => l.split(","));
const columns = {};
head.forEach((name, i) => {
  const cells = lines.map((l) => l[i]);
  if (name === "scenario") columns[name] = arrow.vectorFromArray(
    cells, new arrow.Dictionary(new arrow.Utf8(), new arrow.Int32()));
  else if (name === "sequence") columns[name] = arrow.vectorFromArray(cells, new arrow.Utf8());
  else if (name === "t") columns[name] = arrow.vectorFromArray(
    cells.map(Number), new arrow.Int32());
  else columns[name] = arrow.vectorFromArray(cells.map(Number), new arrow.Float64());
});
const table = new arrow.Table(columns);
for (const [name, compression, version] of [
  ["snappy_v1", parquet.Compression.SNAPPY, parquet.WriterVersion.V1],
  ["zstd_v2", parquet.Compression.ZSTD, parquet.WriterVersion.V2],
]) {
  const properties = new parquet.WriterPropertiesBuilder()
    .setCompression(compression)
    .setWriterVersion(version)
    .setMaxRowGroupSize(100) // several row groups, whose ends are not those of sequences
    .build();
  const wasm = parquet.Table.fromIPCStream(arrow.tableToIPC(table, "stream"));
  writeFileSync(`${process.argv[2]}/selection_${name}.parquet`,
    parquet.writeParquet(wasm, properties));
}
