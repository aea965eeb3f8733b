void main() {
    colour = vec4(surface(), 1.0);
}
