const $ = (id) => document.getElementById(id);
export class Words {
  constructor(page) { this.page = page; }
  take() {} again() {} saved() {} hasNews() { return false; } save() {} open() {} toggle() {} toLine() {} nextFault() {}
}
