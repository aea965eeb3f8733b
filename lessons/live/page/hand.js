export class Hand {
  constructor(page) { this.page = page; }
  take() {} framed() {} again() {} fit() {} offer() {} open() {} turn() {} write() {} putBack() {} undo() {}
}
