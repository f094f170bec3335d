def main() -> None: print('hi')
