// Opens a workbook with another library, for test_programs.py.
//
//   node programs.js xlsx IN OUT      sheets' names as JSON; re-saves the book to OUT
//   node programs.js exceljs IN OUT   the same
//   node programs.js hyperformula IN  calculates every formula anew that has a value; how many
//                                     there are, and those that come to another, as JSON
"use strict";
const fs = require("fs");

const [program, book, target] = process.argv.slice(2);

function tell(value) {
  fs.writeSync(1, JSON.stringify(value));
}

function resaveXlsx() {
  const XLSX = require("xlsx");
  const read = XLSX.read(fs.readFileSync(book), { cellFormula: true });
  XLSX.writeFile(read, target);
  tell(read.SheetNames);
}

async function resaveExceljs() {
  const { Workbook } = require("exceljs");
  const read = new Workbook();
  await read.xlsx.readFile(book);
  await read.xlsx.writeFile(target);
  tell(read.worksheets.map((sheet) => sheet.name));
}

// What the engine is given for a cell: its formula, or its value with text kept as text.
function given(cell) {
  if (cell.f === undefined) return cell.t === "s" ? "'" + cell.v : cell.v;
  // The engine asks its NORMSDIST for the newer function's second argument.
  return "=" + cell.f.replace(/^NORMSDIST\((.*)\)$/, "NORM.S.DIST($1,TRUE())");
}

function same(stored, found) {
  if (typeof stored === "number" && typeof found === "number") {
    return Math.abs(found - stored) <= 1e-9 * Math.max(1, Math.abs(stored));
  }
  return found === stored;
}

function recalculate() {
  const XLSX = require("xlsx");
  const { HyperFormula } = require("hyperformula");
  const read = XLSX.read(fs.readFileSync(book), { cellFormula: true });
  const sheets = {};
  const formulas = [];
  for (const name of read.SheetNames) {
    const rows = [];
    for (const [address, cell] of Object.entries(read.Sheets[name])) {
      if (address[0] === "!") continue;
      const { r, c } = XLSX.utils.decode_cell(address);
      (rows[r] = rows[r] || [])[c] = given(cell);
      if (cell.f !== undefined) formulas.push([name, address, r, c, cell.v]);
    }
    sheets[name] = Array.from(rows, (row) => Array.from(row || [], (value) => value ?? null));
  }
  const options = { licenseKey: "gpl-v3", useArrayArithmetic: true, smartRounding: false };
  const engine = HyperFormula.buildFromSheets(sheets, options);
  const differ = [];
  for (const [name, address, row, col, stored] of formulas) {
    const found = engine.getCellValue({ sheet: engine.getSheetId(name), row, col });
    if (!same(stored, found)) differ.push([name, address, stored ?? "", found]);
  }
  tell({ formulas: formulas.length, differ });
}

({ xlsx: resaveXlsx, exceljs: resaveExceljs, hyperformula: recalculate })[program]();
