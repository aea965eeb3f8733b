noperspective in float across;
void main() {
    colour = vec4(surface(), 1.0 - abs(across));
}
